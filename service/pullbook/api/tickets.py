"""Tickets: opened at the desk, moved step by step, each step logged."""

from datetime import date, datetime
from typing import Annotated, Any

from fastapi import Path, Query, Response
from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.api.editing import apply, locked, record_change, record_making, refuse_stale
from pullbook.api.listing import Cursor, Find, Limit, page
from pullbook.api.shaping import changes_of
from pullbook.api.ticket_shapes import (
    SELECTED,
    NewStep,
    NewTicket,
    State,
    TicketChange,
    TicketList,
    WholeTicket,
    ticket_facts,
    whole_ticket,
)
from pullbook.db.tables import Cell, Ticket, Vehicle
from pullbook.deps import Desk, Now, ReadSession, SignedIn, WriteSession
from pullbook.errors import FieldProblem, Invalid
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.shop.accepting import waiver_accepted
from pullbook.shop.booking import log_step, next_number, refuse_clash, take_step, when_it_happened
from pullbook.shop.charging import charge_items
from pullbook.shop.coming_back import refuse_forgotten_job, refuse_unknown_or_forgotten
from pullbook.shop.day_planning import day_span, zone_of
from pullbook.shop.spotting import tickets_with

router = LateRouter(prefix="/api/v1/tickets", tags=["tickets"])
TicketId = Annotated[str, Path(description="The ticket's id.")]
_WORDS_ABOUT_PEOPLE = ("asked", "notes", "waiver_name", "keys_where", "arrival_notes")


def _refuse_unknown_parts(session: Session, asked: NewTicket) -> None:
    refuse_unknown_or_forgotten(session, asked.customer_id)
    holder = session.execute(select(Vehicle.customer_id).where(Vehicle.id == asked.vehicle_id)).scalar_one_or_none()
    if holder != asked.customer_id:
        raise Invalid(
            f"There is no vehicle {asked.vehicle_id} of this customer.",
            FieldProblem("vehicle_id", asked.vehicle_id, "the id of one of this customer's vehicles"),
        )
    _refuse_unknown_cell(session, asked.cell_id)


def _refuse_unknown_cell(session: Session, cell_id: str | None) -> None:
    if cell_id is None:
        return
    if session.execute(select(Cell.id).where(Cell.id == cell_id)).one_or_none() is None:
        raise Invalid(f"There is no cell {cell_id}.", FieldProblem("cell_id", cell_id, "the id of a cell on record"))


@router.post("", status_code=201, summary="Open a ticket", response_model=WholeTicket)
def add(asked: NewTicket, person: Desk, session: WriteSession, now: Now) -> Response:
    """Takes the next number. 409 names the ticket that already holds the cell in these hours."""
    _refuse_unknown_parts(session, asked)
    opened_at = when_it_happened(session, None, "opened_at", asked.opened_at, now)
    fields = asked.model_dump(exclude={"opened_at", "price_item_ids"})
    row = Ticket(**fields, number=next_number(session), state="booked", made_at=now, made_by=person.id)
    if asked.waiver_name:
        row.waiver_at, row.waiver_version_id = opened_at, waiver_accepted(session, None)
    refuse_clash(session, row)
    session.add(row)
    session.flush()
    log_step(session, row, opened_at, person.id)
    given = asked.model_dump(exclude={"price_item_ids"})
    record_making(session, now, person.id, row, {"number": row.number, **given}, "ticket")
    charge_items(session, now, person.id, row.id, asked.price_item_ids)
    session.flush()
    return Json(whole_ticket(session, row.id, now), 201)


@router.get("", summary="Find tickets", response_model=TicketList)
def several(
    person: SignedIn,
    session: ReadSession,
    state: Annotated[list[State] | None, Query(description="Only in these states.")] = None,
    day: Annotated[date | None, Query(description="Only booked on this day of the shop's own time zone.")] = None,
    find: Find = None,
    customer_id: Annotated[str | None, Query(description="Only this customer's.")] = None,
    vehicle_id: Annotated[str | None, Query(description="Only for this vehicle.")] = None,
    cursor: Cursor = None,
    limit: Limit = 50,
) -> Response:
    """By ticket number, customer, plate, VIN or car as it is typed: every word must occur."""
    statement = SELECTED
    if state:
        statement = statement.where(Ticket.state.in_(state))
    if day is not None:
        start, end = day_span(day, zone_of(session))
        statement = statement.where(Ticket.booked_from >= start, Ticket.booked_from < end)
    if customer_id is not None:
        statement = statement.where(Ticket.customer_id == customer_id)
    if vehicle_id is not None:
        statement = statement.where(Ticket.vehicle_id == vehicle_id)
    statement = tickets_with(session, statement, find or "")
    rows, following = page(session, statement, [Ticket.number, Ticket.id], cursor, limit)
    return Json({"items": [ticket_facts(row) for row in rows], "next": following})


@router.get("/{ticket_id}", summary="One ticket", response_model=WholeTicket)
def get(ticket_id: TicketId, person: SignedIn, session: ReadSession, now: Now) -> Response:
    """With every step it took and where it may go from here."""
    return Json(whole_ticket(session, ticket_id, now))


def _with_signature(session: Session, row: Ticket, changes: dict[str, Any], now: datetime) -> dict[str, Any]:
    """A waiver carries the time of its signing and the version of the text that was signed."""
    signed, version_id = dict(changes), changes.get("waiver_version_id")
    signed.pop("waiver_version_id", None)
    name = signed.get("waiver_name", row.waiver_name)
    if name != row.waiver_name or (name and version_id not in (None, row.waiver_version_id)):
        signed["waiver_at"] = now if name else None
        signed["waiver_version_id"] = waiver_accepted(session, version_id) if name else None
    return signed


@router.patch("/{ticket_id}", summary="Change a ticket", response_model=WholeTicket)
def change(ticket_id: TicketId, asked: TicketChange, person: Desk, session: WriteSession, now: Now) -> Response:
    """Only the fields sent; 409 when somebody changed it meanwhile or the cell is taken in these hours."""
    row, changes = locked(session, Ticket, ticket_id, "ticket"), changes_of(asked)
    refuse_stale(row, asked.version, changes, "ticket")
    _refuse_unknown_cell(session, changes.get("cell_id"))
    told = next((field for field in _WORDS_ABOUT_PEOPLE if changes.get(field)), None)
    if told:
        refuse_forgotten_job(session, ticket_id, told, changes[told])
    changes = _with_signature(session, row, changes, now)
    with session.no_autoflush:
        apply(session, now, person.id, row, changes, "ticket")
        if changes.keys() & {"cell_id", "booked_from", "booked_to"}:
            refuse_clash(session, row)
    session.flush()
    return Json(whole_ticket(session, ticket_id, now))


@router.post("/{ticket_id}/steps", status_code=201, summary="Move a ticket on", response_model=WholeTicket)
def step(ticket_id: TicketId, asked: NewStep, person: Desk, session: WriteSession, now: Now) -> Response:
    """409 says where it may go when it may not go there; `warnings` say what is missing before the car is run."""
    row = locked(session, Ticket, ticket_id, "ticket")
    before = row.state
    with session.no_autoflush:
        at = when_it_happened(session, ticket_id, "at", asked.at, now)
        take_step(session, row, asked.state, at, person.id, asked.note)
    session.flush()
    record_change(session, now, person.id, row, {"state": before}, "ticket")
    return Json(whole_ticket(session, ticket_id, now), 201)
