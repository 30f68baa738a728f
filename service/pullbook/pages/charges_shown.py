"""Charges, payments and the price list as pages show them: cents as people write money."""

from datetime import datetime
from typing import ClassVar

from fastapi import Request
from sqlalchemy import select
from sqlalchemy.orm import Session
from starlette.responses import Response

from pullbook.db.money import Charge, Payment, PriceItem
from pullbook.db.tables import Customer, Shop, Ticket, Vehicle
from pullbook.deps import Now, PagePerson, ReadSession
from pullbook.errors import NotFound
from pullbook.late_methods import dataclass
from pullbook.late_routes import LateRouter
from pullbook.pages.finding import vehicle_title
from pullbook.pages.render import around_person, draw
from pullbook.pages.told import Shown, told
from pullbook.shop.charging import line_cents, money_of, reckoning_of
from pullbook.shown_units import plain_number

router = LateRouter(include_in_schema=False)


@dataclass(frozen=True)
class ItemLine:
    """An item of the price list."""

    id: str
    version: int
    name: str
    kind_of_work: str
    unit: str
    price: str
    price_plain: str
    tax_percent: str
    retired_at: datetime | None


@dataclass(frozen=True)
class ChargeLine:
    """A charge in words."""

    id: str
    name: str
    quantity: str
    price: str
    tax: str
    total: str
    struck_reason: str | None


@dataclass(frozen=True)
class PaymentLine:
    """A payment in words."""

    id: str
    paid_at: datetime
    way: str
    amount: str
    note: str
    struck_reason: str | None


@dataclass(frozen=True)
class TicketCharges:
    """What a ticket comes to, in words."""

    currency: str
    prices_include_tax: bool
    charges: tuple[ChargeLine, ...]
    payments: tuple[PaymentLine, ...]
    without_tax: str
    taxes: tuple[tuple[str, str], ...]
    total: str
    paid: str
    due: str
    due_plain: str
    state: str
    items: tuple[ItemLine, ...]


@dataclass(frozen=True)
class StatementPage(Shown):
    """What a job came to, to be printed and handed over."""

    template: ClassVar[str] = "desk/statement.html"
    ticket_id: str = told("The ticket's id.")
    number: int = told("Its number.")
    customer_name: str = told("Who it is for.")
    vehicle: str = told("The car, with its plate.")
    asked: str = told("What was asked.")
    address: str = told("Where the shop is.")
    now: datetime = told("The time it is drawn at.")
    money: TicketCharges = told("Lines, tax, sums, payments.")


@dataclass(frozen=True)
class PricesPage(Shown):
    """The price list."""

    template: ClassVar[str] = "desk/prices.html"
    currency: str = told("The shop's currency.")
    prices_include_tax: bool = told("Whether prices are told with tax.")
    items: tuple[ItemLine, ...] = told("Items, those no longer offered last.")


def cents(amount: int) -> str:
    """Money as people write it, without its currency: 1 234.50."""
    return plain_number(amount / 100.0, 2)


def ticket_charges(session: Session, ticket_id: str) -> TicketCharges:
    """Everything charged and paid on a ticket, what was struck marked."""
    money, sums = money_of(session), reckoning_of(session, ticket_id)
    charges = session.scalars(select(Charge).where(Charge.ticket_id == ticket_id).order_by(Charge.made_at, Charge.id))
    payments = session.scalars(
        select(Payment).where(Payment.ticket_id == ticket_id).order_by(Payment.paid_at, Payment.id)
    )
    return TicketCharges(
        currency=money.currency,
        prices_include_tax=money.prices_include_tax,
        charges=tuple(_charge(row) for row in charges),
        payments=tuple(
            PaymentLine(row.id, row.paid_at, row.way, cents(row.amount_cents), row.note, row.struck_reason)
            for row in payments
        ),
        without_tax=cents(sums.without_tax_cents),
        taxes=tuple((_percent(line.tax_rate_bp), cents(line.tax_cents)) for line in sums.tax_lines if line.tax_rate_bp),
        total=cents(sums.total_cents),
        paid=cents(sums.paid_cents),
        due=cents(sums.due_cents),
        due_plain=f"{sums.due_cents / 100:.2f}",
        state=sums.state,
        items=_items(session, offered_only=True),
    )


def _charge(row: Charge) -> ChargeLine:
    quantity = f"{plain_number(row.quantity_milli / 1000.0, 3).rstrip('0').rstrip('.')} {row.unit}".strip()
    total = cents(line_cents(row.quantity_milli, row.unit_price_cents))
    return ChargeLine(
        row.id, row.name, quantity, cents(row.unit_price_cents), _percent(row.tax_rate_bp), total, row.struck_reason
    )


def _percent(tax_rate_bp: int) -> str:
    return f"{plain_number(tax_rate_bp / 100.0, 2).rstrip('0').rstrip('.')} %"


def _items(session: Session, *, offered_only: bool) -> tuple[ItemLine, ...]:
    statement = select(PriceItem).order_by(
        PriceItem.retired_at.is_not(None), PriceItem.kind_of_work, PriceItem.name, PriceItem.id
    )
    if offered_only:
        statement = statement.where(PriceItem.retired_at.is_(None))
    return tuple(
        ItemLine(
            id=row.id,
            version=row.version,
            name=row.name,
            kind_of_work=row.kind_of_work,
            unit=row.unit,
            price=cents(row.unit_price_cents),
            price_plain=f"{row.unit_price_cents / 100:.2f}",
            tax_percent=f"{row.tax_rate_bp / 100:g}",
            retired_at=row.retired_at,
        )
        for row in session.scalars(statement)
    )


@router.get("/tickets/{ticket_id}/statement")
def statement(request: Request, ticket_id: str, session: ReadSession, person: PagePerson, now: Now) -> Response:
    """What a job came to, on paper: not a tax document."""
    row = session.execute(
        select(Ticket, Customer, Vehicle)
        .join(Customer, Customer.id == Ticket.customer_id)
        .join(Vehicle, Vehicle.id == Ticket.vehicle_id)
        .where(Ticket.id == ticket_id)
    ).one_or_none()
    if row is None:
        raise NotFound("There is no such ticket.")
    ticket, customer, vehicle = row
    title = vehicle_title(vehicle.model_year, vehicle.make, vehicle.model)
    page = StatementPage(
        ticket_id=ticket.id,
        number=ticket.number,
        customer_name=customer.full_name,
        vehicle=f"{title}, {vehicle.plate}" if vehicle.plate else title,
        asked=ticket.asked,
        address=session.execute(select(Shop.address)).scalar_one_or_none() or "",
        now=now,
        money=ticket_charges(session, ticket_id),
    )
    return draw(around_person(request, session, person), page)


@router.get("/prices")
def prices(request: Request, session: ReadSession, person: PagePerson) -> Response:
    """The price list; an owner adds to it and changes it."""
    money = money_of(session)
    page = PricesPage(money.currency, money.prices_include_tax, _items(session, offered_only=False))
    return draw(around_person(request, session, person, "prices"), page)
