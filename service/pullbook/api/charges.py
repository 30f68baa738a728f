"""Charges and payments of a ticket, and what it comes to."""

from typing import Annotated, Any, Literal

from fastapi import Path, Response
from pydantic import AfterValidator, Field, StringConstraints
from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.api.editing import record_making
from pullbook.api.price_items import ItemName, TaxRate
from pullbook.api.shaping import Answer, Asked, Id, Instant, Line, Words
from pullbook.db.money import Charge, Payment
from pullbook.db.tables import Staff, Ticket
from pullbook.deps import Desk, Now, ReadSession, SignedIn, WriteSession
from pullbook.errors import NotFound
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.shop.charging import charge_items, line_cents, money_of, reckoning_of, strike
from pullbook.shop.coming_back import refuse_adding_to_forgotten
from pullbook.shop.weather_matching import refuse_future

router = LateRouter(prefix="/api/v1", tags=["charges"])
TicketId = Annotated[str, Path(description="The ticket's id.")]
Quantity = Annotated[int, Field(ge=1, le=10**9, description="In thousandths: 1500 is one and a half.")]
Reason = Annotated[Words, StringConstraints(min_length=1)]


def _something(amount_cents: int) -> int:
    if amount_cents == 0:
        raise ValueError("is nought; an amount above it would do, or below it for money that went back")
    return amount_cents


class NewCharge(Asked):
    """A line of its own, at its own price; below nought for a discount."""

    name: ItemName
    kind_of_work: Line = ""
    unit: Line = ""
    quantity_milli: Quantity = 1000
    unit_price_cents: Annotated[int, Field(ge=-(10**9), le=10**9)]
    tax_rate_bp: TaxRate = 0


class ItemsCharged(Asked):
    """One of each of these from the price list."""

    price_item_ids: Annotated[list[Id], Field(min_length=1, max_length=60)]


class NewPayment(Asked):
    """Money that came in; below nought, that went back."""

    amount_cents: Annotated[int, Field(ge=-(10**11), le=10**11), AfterValidator(_something)]
    way: Literal["cash", "card", "transfer", "other"]
    paid_at: Instant | None = None
    note: Words = ""


class Striking(Asked):
    """Why it does not count."""

    reason: Reason


class ChargeAnswer(Answer):
    """A line on the ticket. `line_cents`: quantity times price, rounded."""

    id: str
    price_item_id: str | None
    name: str
    kind_of_work: str
    unit: str
    quantity_milli: int
    unit_price_cents: int
    tax_rate_bp: int
    line_cents: int
    made_at: Instant
    made_by_name: str
    struck_at: Instant | None
    struck_reason: str | None


class PaymentAnswer(Answer):
    """A payment."""

    id: str
    amount_cents: int
    way: str
    paid_at: Instant
    note: str
    made_by_name: str
    struck_at: Instant | None
    struck_reason: str | None


class TaxAnswer(Answer):
    """What lies under one rate of tax."""

    tax_rate_bp: int
    without_tax_cents: int
    tax_cents: int


class StatementAnswer(Answer):
    """Everything charged and paid, and what is due. `state` says it in a word."""

    ticket_id: str
    currency: str
    prices_include_tax: bool
    charges: list[ChargeAnswer]
    payments: list[PaymentAnswer]
    without_tax_cents: int
    taxes: list[TaxAnswer]
    total_cents: int
    paid_cents: int
    due_cents: int
    state: str


def statement(session: Session, ticket_id: str) -> dict[str, Any]:
    """A ticket's charges and payments as answered; NotFound for an unknown ticket."""
    if session.execute(select(Ticket.id).where(Ticket.id == ticket_id)).one_or_none() is None:
        raise NotFound(f"There is no ticket {ticket_id}.")
    money, sums = money_of(session), reckoning_of(session, ticket_id)
    return {
        "ticket_id": ticket_id,
        "currency": money.currency,
        "prices_include_tax": money.prices_include_tax,
        "charges": [
            _told(ChargeAnswer, row, name, line_cents=line_cents(row.quantity_milli, row.unit_price_cents))
            for row, name in _rows(session, Charge, ticket_id)
        ],
        "payments": [_told(PaymentAnswer, row, name) for row, name in _rows(session, Payment, ticket_id)],
        "without_tax_cents": sums.without_tax_cents,
        "taxes": [{name: getattr(line, name) for name in TaxAnswer.model_fields} for line in sums.tax_lines],
        "total_cents": sums.total_cents,
        "paid_cents": sums.paid_cents,
        "due_cents": sums.due_cents,
        "state": sums.state,
    }


def _rows(session: Session, kind: type[Any], ticket_id: str) -> list[Any]:
    by_maker = select(kind, Staff.full_name).join(Staff, Staff.id == kind.made_by)
    return list(session.execute(by_maker.where(kind.ticket_id == ticket_id).order_by(kind.made_at, kind.id)).all())


def _told(shape: type[Answer], row: Any, maker: str, **more: Any) -> dict[str, Any]:
    given = {"made_by_name": maker, **more}
    return {name: given[name] if name in given else getattr(row, name) for name in shape.model_fields}


@router.get("/tickets/{ticket_id}/charges", summary="What a ticket comes to", response_model=StatementAnswer)
def get(ticket_id: TicketId, person: SignedIn, session: ReadSession) -> Response:
    """Lines, payments, tax by rate, and what is due; what was struck is there, marked, and counts in no sum."""
    return Json(statement(session, ticket_id))


@router.post("/tickets/{ticket_id}/charges", status_code=201, summary="Charge a line", response_model=StatementAnswer)
def add(ticket_id: TicketId, asked: NewCharge, person: Desk, session: WriteSession, now: Now) -> Response:
    """A line of its own; for the price list's there is `…/charges/from-list`."""
    _known(session, ticket_id)
    row = Charge(ticket_id=ticket_id, **asked.model_dump(), made_at=now, made_by=person.id)
    session.add(row)
    session.flush()
    record_making(session, now, person.id, row, {"ticket_id": ticket_id, **asked.model_dump()}, "charge")
    return Json(statement(session, ticket_id), 201)


@router.post(
    "/tickets/{ticket_id}/charges/from-list",
    status_code=201,
    summary="Charge from the price list",
    response_model=StatementAnswer,
)
def add_items(ticket_id: TicketId, asked: ItemsCharged, person: Desk, session: WriteSession, now: Now) -> Response:
    """One of each, at today's price."""
    _known(session, ticket_id)
    charge_items(session, now, person.id, ticket_id, asked.price_item_ids)
    return Json(statement(session, ticket_id), 201)


@router.post("/charges/{charge_id}/strike", status_code=201, summary="Strike a charge", response_model=StatementAnswer)
def strike_charge(charge_id: str, asked: Striking, person: Desk, session: WriteSession, now: Now) -> Response:
    """It stays on record, marked with the reason, and counts in no sum."""
    return Json(statement(session, strike(session, now, person.id, Charge, charge_id, asked.reason)), 201)


@router.post("/tickets/{ticket_id}/payments", status_code=201, summary="Note a payment", response_model=StatementAnswer)
def pay(ticket_id: TicketId, asked: NewPayment, person: Desk, session: WriteSession, now: Now) -> Response:
    """That money came in, or went back; nothing is collected here."""
    _known(session, ticket_id)
    if asked.note:
        refuse_adding_to_forgotten(session, ticket_id, "note", asked.note)
    paid_at = asked.paid_at or now
    refuse_future("paid_at", paid_at, now)
    given = asked.model_dump() | {"paid_at": paid_at}
    row = Payment(ticket_id=ticket_id, **given, made_at=now, made_by=person.id)
    session.add(row)
    session.flush()
    record_making(session, now, person.id, row, {"ticket_id": ticket_id, **given}, "payment")
    return Json(statement(session, ticket_id), 201)


@router.post(
    "/payments/{payment_id}/strike", status_code=201, summary="Strike a payment", response_model=StatementAnswer
)
def strike_payment(payment_id: str, asked: Striking, person: Desk, session: WriteSession, now: Now) -> Response:
    """It stays on record, marked with the reason, and counts in no sum."""
    return Json(statement(session, strike(session, now, person.id, Payment, payment_id, asked.reason)), 201)


def _known(session: Session, ticket_id: str) -> None:
    if session.execute(select(Ticket.id).where(Ticket.id == ticket_id)).one_or_none() is None:
        raise NotFound(f"There is no ticket {ticket_id}.")
