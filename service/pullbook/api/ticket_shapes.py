"""Tickets in words and numbers: what is asked of one, and what is answered."""

from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import Field
from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.api.shaping import UNSET, Answer, Asked, Id, Instant, Line, Words
from pullbook.db.tables import Cell, Customer, Staff, Ticket, TicketStep, Vehicle, WaiverText
from pullbook.errors import NotFound
from pullbook.shop.booking import MOVES
from pullbook.shop.signing_off import missing_before_running

State = Literal["booked", "checked_in", "in_cell", "ready", "collected", "on_hold", "cancelled"]
AskedFor = Annotated[Words, Field(min_length=1, description="What the customer wants done, in their words.")]
Odometer = Annotated[int, Field(ge=0, le=9_999_999)]
FuelEighths = Annotated[int, Field(ge=0, le=8, description="What the gauge shows, in eighths of the tank.")]
KeyCount = Annotated[int, Field(ge=0, le=99)]


class NewTicket(Asked):
    """A job: whose car, what is asked, when and where it is booked; `opened_at` where it is written up later.

    `price_item_ids` are charged in the same step, one of each, at the price that the list has now.
    """

    customer_id: Id
    vehicle_id: Id
    asked: AskedFor
    cell_id: Id | None = None
    booked_from: Instant | None = None
    booked_to: Instant | None = None
    odometer_km: Odometer | None = None
    fuel_eighths: FuelEighths | None = None
    key_count: KeyCount | None = None
    waiver_name: Line = ""
    notes: Words = ""
    opened_at: Instant | None = None
    price_item_ids: list[Id] = Field(default_factory=list, max_length=60)


class TicketChange(Asked):
    """What to change; `version` is the one last read. A waiver name counts as signed now, under the text in force."""

    version: int
    asked: AskedFor = UNSET
    cell_id: Id | None = UNSET
    booked_from: Instant | None = UNSET
    booked_to: Instant | None = UNSET
    odometer_km: Odometer | None = UNSET
    fuel_eighths: FuelEighths | None = UNSET
    tyre_condition: Words | None = UNSET
    tyre_pressures: Line | None = UNSET
    tyre_age: Line | None = UNSET
    key_count: KeyCount | None = UNSET
    keys_where: Line | None = UNSET
    arrival_notes: Words | None = UNSET
    waiver_name: Line = UNSET
    waiver_version_id: Id = UNSET
    notes: Words = UNSET


class NewStep(Asked):
    """Where the ticket goes next; `at` says when it did, where that is written up later."""

    state: State
    note: Words = ""
    at: Instant | None = None


class StepAnswer(Answer):
    """One step as logged."""

    state: State
    at: Instant
    by_name: str
    note: str


class TicketAnswer(Answer):
    """A ticket on record. `may_go` says which states it can be moved to from here."""

    id: str
    number: int
    customer_id: str
    customer_name: str
    vehicle_id: str
    vehicle_title: str
    plate: str
    asked: str
    cell_id: str | None
    cell_name: str | None
    booked_from: Instant | None
    booked_to: Instant | None
    state: State
    may_go: list[State]
    odometer_km: int | None
    waiver_name: str
    waiver_at: Instant | None
    waiver_version_id: str | None
    waiver_version: int | None
    fuel_eighths: int | None
    tyre_condition: str | None
    tyre_pressures: str | None
    tyre_age: str | None
    key_count: int | None
    keys_where: str | None
    arrival_notes: str | None
    notes: str
    made_at: Instant
    made_by_name: str
    version: int


class WholeTicket(TicketAnswer):
    """One ticket with every step it took. `warnings`: what is missing before the car is run, in words."""

    steps: list[StepAnswer]
    warnings: list[str]


class TicketList(Answer):
    """A page of tickets, newest first."""

    items: list[TicketAnswer]
    next: str | None


_JOINED = {
    "customer_name": Customer.full_name,
    "plate": Vehicle.plate,
    "cell_name": Cell.name,
    "waiver_version": WaiverText.number,
    "made_by_name": Staff.full_name,
}
_OWN = [name for name in TicketAnswer.model_fields if name not in (*_JOINED, "vehicle_title", "may_go")]
SELECTED = (
    select(
        *(getattr(Ticket, name) for name in _OWN),
        *(column.label(name) for name, column in _JOINED.items()),
        Vehicle.make,
        Vehicle.model,
        Vehicle.model_year,
    )
    .join(Customer, Customer.id == Ticket.customer_id)
    .join(Vehicle, Vehicle.id == Ticket.vehicle_id)
    .join(Staff, Staff.id == Ticket.made_by)
    .outerjoin(Cell, Cell.id == Ticket.cell_id)
    .outerjoin(WaiverText, WaiverText.id == Ticket.waiver_version_id)
)


def ticket_facts(row: Any) -> dict[str, Any]:
    """A row of SELECTED as answered."""
    facts = dict(row._mapping)
    title = (facts.pop("model_year"), facts.pop("make"), facts.pop("model"))
    facts["vehicle_title"] = " ".join(str(part) for part in title if part)
    facts["may_go"] = MOVES[facts["state"]]
    return facts


BEFORE_RUNNING = ("checked_in", "in_cell")


def whole_ticket(session: Session, ticket_id: str, now: datetime) -> dict[str, Any]:
    """A ticket as answered, with its steps, oldest first; NotFound when there is none."""
    row = session.execute(SELECTED.where(Ticket.id == ticket_id)).one_or_none()
    if row is None:
        raise NotFound(f"There is no ticket {ticket_id}.")
    steps = session.execute(
        select(TicketStep.state, TicketStep.at, Staff.full_name.label("by_name"), TicketStep.note)
        .join(Staff, Staff.id == TicketStep.by)
        .where(TicketStep.ticket_id == ticket_id)
        .order_by(TicketStep.at, TicketStep.id)
    ).mappings()
    warnings = []
    if row.state in BEFORE_RUNNING:
        warnings = missing_before_running(session, row.waiver_name, ticket_id, row.cell_id, now)
    return {**ticket_facts(row), "steps": [dict(step) for step in steps], "warnings": warnings}
