"""Charging: what a ticket comes to, in whole cents, and what is still to be paid.

A line is quantity times price, rounded to the cent, halves away from nought. Tax is worked out once for each rate, over
the sum of its lines, not line by line: that is common practice, and keeps the tax within half a cent of the exact one.
"""

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import cast

from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.db.money import Charge, Payment, PriceItem
from pullbook.db.people import Shop
from pullbook.errors import Clash, FieldProblem, Invalid, NotFound
from pullbook.late_methods import dataclass
from pullbook.shop.auditing import note

DEFAULT_CURRENCY = "EUR"


@dataclass(frozen=True, slots=True)
class Money:
    """How the shop tells prices."""

    currency: str
    prices_include_tax: bool


@dataclass(frozen=True, slots=True)
class TaxLine:
    """What lies under one rate of tax, all in cents."""

    tax_rate_bp: int
    without_tax_cents: int
    tax_cents: int


@dataclass(frozen=True, slots=True)
class Reckoning:
    """What a ticket comes to."""

    without_tax_cents: int
    tax_lines: tuple[TaxLine, ...]
    total_cents: int
    paid_cents: int

    @property
    def due_cents(self) -> int:
        """What is still to be paid; below nought where too much was."""
        return self.total_cents - self.paid_cents

    @property
    def state(self) -> str:
        """In a word: nothing charged, paid, part paid, not paid, or overpaid."""
        if not self.total_cents and not self.paid_cents:
            return "nothing charged"
        if self.due_cents == 0:
            return "paid"
        if self.due_cents < 0:
            return "overpaid"
        return "part paid" if self.paid_cents > 0 else "not paid"


def divided(number: int, by: int) -> int:
    """A whole number divided and rounded, halves away from nought."""
    rounded = (2 * abs(number) + by) // (2 * by)
    return rounded if number >= 0 else -rounded


def line_cents(quantity_milli: int, unit_price_cents: int) -> int:
    """What a line comes to."""
    return divided(quantity_milli * unit_price_cents, 1000)


def reckon(lines: Iterable[tuple[int, int, int]], paid_cents: Iterable[int], prices_include_tax: bool) -> Reckoning:
    """Add it up. `lines` are (quantity in thousandths, price in cents, tax rate in hundredths of a per cent)."""
    by_rate: dict[int, int] = {}
    for quantity_milli, unit_price_cents, tax_rate_bp in lines:
        by_rate[tax_rate_bp] = by_rate.get(tax_rate_bp, 0) + line_cents(quantity_milli, unit_price_cents)
    taxes = []
    for rate, told in sorted(by_rate.items()):
        tax = divided(told * rate, 10000 + rate) if prices_include_tax else divided(told * rate, 10000)
        taxes.append(TaxLine(rate, told - tax if prices_include_tax else told, tax))
    without = sum(line.without_tax_cents for line in taxes)
    return Reckoning(without, tuple(taxes), without + sum(line.tax_cents for line in taxes), sum(paid_cents))


def money_of(session: Session) -> Money:
    """The shop's currency and way of telling prices."""
    row = session.execute(select(Shop.currency, Shop.prices_include_tax)).one_or_none()
    return Money((row.currency if row else None) or DEFAULT_CURRENCY, bool(row and row.prices_include_tax))


def reckoning_of(session: Session, ticket_id: str) -> Reckoning:
    """What one ticket comes to now, what was struck left out."""
    lines = session.execute(
        select(Charge.quantity_milli, Charge.unit_price_cents, Charge.tax_rate_bp).where(
            Charge.ticket_id == ticket_id, Charge.struck_at.is_(None)
        )
    )
    paid = session.scalars(
        select(Payment.amount_cents).where(Payment.ticket_id == ticket_id, Payment.struck_at.is_(None))
    )
    return reckon(((row[0], row[1], row[2]) for row in lines), paid, money_of(session).prices_include_tax)


def charge_items(
    session: Session, now: datetime, staff_id: str, ticket_id: str, item_ids: Sequence[str]
) -> list[Charge]:
    """One of each of these from the price list, at today's price. Invalid names an item that is not on it."""
    made = []
    for item_id in dict.fromkeys(item_ids):
        item = session.get(PriceItem, item_id)
        if item is None or item.retired_at is not None:
            raise Invalid(
                f"There is no item {item_id} on the price list.",
                FieldProblem("price_item_ids", item_id, "ids of items that are on the price list"),
            )
        made.append(
            Charge(
                ticket_id=ticket_id,
                price_item_id=item.id,
                name=item.name,
                kind_of_work=item.kind_of_work,
                unit=item.unit,
                quantity_milli=1000,
                unit_price_cents=item.unit_price_cents,
                tax_rate_bp=item.tax_rate_bp,
                made_at=now,
                made_by=staff_id,
            )
        )
    session.add_all(made)
    session.flush()
    for row in made:
        after = {"ticket_id": ticket_id, "name": row.name, "unit_price_cents": row.unit_price_cents}
        note(session, now, staff_id, "charge", "charge", row.id, None, after)
    return made


def strike(
    session: Session, now: datetime, staff_id: str, kind: type[Charge] | type[Payment], row_id: str, why: str
) -> str:
    """Take a charge or a payment out of the sum, with the reason; it stays on record. Gives its ticket's id."""
    called = "charge" if kind is Charge else "payment"
    row = cast("Charge | Payment | None", session.get(kind, row_id, with_for_update=True))
    if row is None:
        raise NotFound(f"There is no {called} {row_id}.")
    if row.struck_at is not None:
        raise Clash(f"This {called} is struck already: {row.struck_reason}", FieldProblem("reason", why, "nothing"))
    row.struck_at, row.struck_by, row.struck_reason = now, staff_id, why
    session.flush()
    note(session, now, staff_id, "strike", called, row.id, {"struck_reason": None}, {"struck_reason": why})
    return row.ticket_id
