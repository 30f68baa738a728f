"""Gathering: everything on record of some tickets that their months are counted from, in one statement."""

from collections.abc import Callable, Sequence
from functools import cache
from typing import Any, cast

from sqlalchemy import (
    ColumnElement,
    Select,
    Table,
    Text,
    bindparam,
    case,
    func,
    literal,
    null,
    select,
    type_coerce,
    union_all,
)
from sqlalchemy import cast as sql_cast
from sqlalchemy.orm import Session

from pullbook.db.evidence import Pull, ResultsLink
from pullbook.db.money import Charge, Payment
from pullbook.db.stored_types import UtcTime, whole
from pullbook.db.tables import Ticket, TicketStep
from pullbook.shop.counting import TicketRecords

_TICKET, _STEP, _PULL, _CHARGE, _PAYMENT, _LINK = (
    cast("Table", kind.__table__) for kind in (Ticket, TicketStep, Pull, Charge, Payment, ResultsLink)
)
_IDS = bindparam("ticket_ids", expanding=True, type_=_TICKET.c.id.type)
_FIRST, _LAST = (bindparam(name, type_=_TICKET.c.id.type) for name in ("first_id", "last_id"))


def _line(
    ticket: ColumnElement[Any],
    what: str,
    at: Any = None,
    until: Any = None,
    number: Any = None,
    other: Any = None,
    rate: Any = None,
    word: Any = None,
) -> Select[Any]:
    """A record as the union has it; what it lacks is null under its type, which PostgreSQL asks for."""
    time, count, text = UtcTime(), whole(), Text()
    numbers = (("number", number, count), ("other", other, count), ("rate", rate, count))
    given: tuple[tuple[str, Any, Any], ...] = (("at", at, time), ("until", until, time), *numbers, ("word", word, text))
    columns = ((sql_cast(null(), kind) if value is None else value).label(name) for name, value, kind in given)
    return select(ticket.label("ticket_id"), literal(what, Text()).label("what"), *columns)


def _is_set(column: ColumnElement[Any]) -> ColumnElement[int]:
    return case((column.is_(None), 0), else_=1)


def _records(chosen: Callable[[ColumnElement[Any]], ColumnElement[bool]]) -> Any:
    ticket, step, pull, charge, payment, link = _TICKET.c, _STEP.c, _PULL.c, _CHARGE.c, _PAYMENT.c, _LINK.c
    # hours are a cell's: a booking without one takes none
    begins = case((ticket.cell_id.is_not(None), ticket.booked_from), else_=None)
    lines = (
        (ticket.id, _line(ticket.id, "ticket", type_coerce(begins, UtcTime()), ticket.booked_to, word=ticket.state)),
        (step.ticket_id, _line(step.ticket_id, "step", step.at, number=type_coerce(step.id, whole()), word=step.state)),
        (
            pull.ticket_id,
            _line(
                pull.ticket_id,
                "pull",
                pull.taken_at,
                number=_is_set(pull.set_aside_at),
                other=_is_set(pull.unreadable_reason),
            ),
        ),
        (
            charge.ticket_id,
            _line(
                charge.ticket_id,
                "charge",
                number=charge.quantity_milli,
                other=charge.unit_price_cents,
                rate=charge.tax_rate_bp,
                word=charge.kind_of_work,
            ).where(charge.struck_at.is_(None)),
        ),
        (
            payment.ticket_id,
            _line(payment.ticket_id, "payment", payment.paid_at, number=payment.amount_cents).where(
                payment.struck_at.is_(None)
            ),
        ),
        (link.ticket_id, _line(link.ticket_id, "link", link.made_at, number=link.opened_count)),
    )
    return union_all(*(line.where(chosen(column)) for column, line in lines))


RECORDS_OF = _records(lambda column: column.in_(_IDS))
_RECORDS_BETWEEN = _records(lambda column: column.between(_FIRST, _LAST))


def records_of(session: Session, ticket_ids: Sequence[str]) -> dict[str, TicketRecords]:
    """What is on record of these tickets, by id."""
    return _gathered(session.execute(RECORDS_OF, {"ticket_ids": list(ticket_ids)}))


def records_between(session: Session, first_id: str, last_id: str) -> dict[str, TicketRecords]:
    """What is on record of every ticket from one id to another, both included."""
    return _gathered(session.execute(_RECORDS_BETWEEN, {"first_id": first_id, "last_id": last_id}))


def _gathered(rows: Any) -> dict[str, TicketRecords]:
    found: dict[str, TicketRecords] = {}
    for ticket_id, what, at, until, number, other, rate, word in rows:
        ticket = found.get(ticket_id) or found.setdefault(ticket_id, TicketRecords())
        if what == "step":
            ticket.steps.append((at, number, word))
        elif what == "pull":
            ticket.pulls.append((at, bool(number), bool(other)))
        elif what == "charge":
            ticket.charges.append((word, number, other, rate))
        elif what == "payment":
            ticket.payments.append((at, number))
        elif what == "link":
            ticket.links.append((at, number))
        else:
            ticket.state, ticket.booked = word, (at, until) if at is not None and until is not None else None
    return found


@cache
def _turns(narrowed: bool) -> Any:
    """Each ticket of some customers, numbered in the order they were opened; of all customers where not narrowed."""
    of_customer, opened_at = _TICKET.c.customer_id, func.min(_STEP.c.at, type_=UtcTime())
    place = func.row_number().over(partition_by=of_customer, order_by=(opened_at, _TICKET.c.id)).label("place")
    statement = select(_TICKET.c.id, place).join(_STEP, _STEP.c.ticket_id == _TICKET.c.id)
    if narrowed:
        ids = bindparam("customer_ids", expanding=True, type_=of_customer.type)
        statement = statement.where(of_customer.in_(ids))
    turns = statement.group_by(of_customer, _TICKET.c.id).subquery()
    asked = turns.c.place <= bindparam("places", type_=whole())
    return select(turns.c.id, turns.c.place).where(asked | turns.c.id.in_(_IDS) if narrowed else asked)


def turns_of(session: Session, customer_ids: Sequence[str], ticket_ids: Sequence[str], places: int) -> dict[str, int]:
    """Of these customers' tickets the first so many opened, and the named ones, each with its place: 1 is the first."""
    told = {"customer_ids": list(customer_ids), "ticket_ids": list(ticket_ids), "places": places}
    return {ticket_id: place for ticket_id, place in session.execute(_turns(narrowed=True), told)}


def first_tickets(session: Session) -> set[str]:
    """Every customer's first ticket."""
    return {ticket_id for ticket_id, _ in session.execute(_turns(narrowed=False), {"places": 1})}
