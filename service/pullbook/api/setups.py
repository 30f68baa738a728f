"""Setups: one state of the car within a ticket – the baseline, or what was changed since."""

from typing import Annotated, Any

from fastapi import Path, Response
from pydantic import Field
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from pullbook.api.editing import apply, locked, record_making, refuse_stale
from pullbook.api.shaping import UNSET, Answer, Asked, Instant, Line, Name, Words, changes_of
from pullbook.db.tables import Setup, Ticket
from pullbook.deps import Now, ReadSession, SignedIn, Tuner, WriteSession
from pullbook.errors import NotFound
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter

router = LateRouter(prefix="/api/v1", tags=["setups"])
TicketId = Annotated[str, Path(description="The ticket's id.")]
SetupId = Annotated[str, Path(description="The setup's id.")]
Ratio = Annotated[float, Field(gt=0, le=200, description="Engine turns for one roller turn in this gear.")]
TyrePressure = Annotated[float, Field(gt=0, le=1000, description="Gauge, in kPa.")]


class NewSetup(Asked):
    """What was changed, and what else may matter to a comparison."""

    name: Name
    changed: Words = ""
    gear: Line = ""
    engine_turns_per_roller_turn: Ratio | None = None
    tyre_pressure_kpa: TyrePressure | None = None
    fuel: Line = ""


class SetupChange(Asked):
    """What to change; `version` is the one last read."""

    version: int
    name: Name = UNSET
    changed: Words = UNSET
    gear: Line = UNSET
    engine_turns_per_roller_turn: Ratio | None = UNSET
    tyre_pressure_kpa: TyrePressure | None = UNSET
    fuel: Line = UNSET


class SetupAnswer(Answer):
    """A setup on record; position 0 is the baseline."""

    id: str
    ticket_id: str
    position: int
    name: str
    changed: str
    gear: str
    engine_turns_per_roller_turn: float | None
    tyre_pressure_kpa: float | None
    fuel: str
    made_at: Instant
    version: int


class SetupList(Answer):
    """Every setup of a ticket, in order: the baseline first."""

    items: list[SetupAnswer]
    next: None


COLUMNS = tuple(getattr(Setup, name) for name in SetupAnswer.model_fields)


def one(session: Session, setup_id: str) -> dict[str, Any]:
    """A setup as answered; NotFound when there is none."""
    row = session.execute(select(*COLUMNS).where(Setup.id == setup_id)).mappings().one_or_none()
    if row is None:
        raise NotFound(f"There is no setup {setup_id}.")
    return dict(row)


@router.post("/tickets/{ticket_id}/setups", status_code=201, summary="Add a setup", response_model=SetupAnswer)
def add(ticket_id: TicketId, asked: NewSetup, person: Tuner, session: WriteSession, now: Now) -> Response:
    """The first of a ticket is its baseline; each later one says what was changed since."""
    ticket = locked(session, Ticket, ticket_id, "ticket")  # so that two at once do not take one position
    last = session.execute(select(func.max(Setup.position)).where(Setup.ticket_id == ticket.id)).scalar_one()
    position = 0 if last is None else last + 1
    row = Setup(ticket_id=ticket.id, position=position, **asked.model_dump(), made_at=now, made_by=person.id)
    session.add(row)
    session.flush()
    record_making(session, now, person.id, row, {"ticket_id": ticket.id, **asked.model_dump()}, "setup")
    return Json(one(session, row.id), 201)


@router.get("/tickets/{ticket_id}/setups", summary="A ticket's setups", response_model=SetupList)
def several(ticket_id: TicketId, person: SignedIn, session: ReadSession) -> Response:
    """In the order they were made."""
    if session.execute(select(Ticket.id).where(Ticket.id == ticket_id)).one_or_none() is None:
        raise NotFound(f"There is no ticket {ticket_id}.")
    rows = session.execute(select(*COLUMNS).where(Setup.ticket_id == ticket_id).order_by(Setup.position)).mappings()
    return Json({"items": [dict(row) for row in rows], "next": None})


@router.get("/setups/{setup_id}", summary="One setup", response_model=SetupAnswer)
def get(setup_id: SetupId, person: SignedIn, session: ReadSession) -> Response:
    """As it is on record now."""
    return Json(one(session, setup_id))


@router.patch("/setups/{setup_id}", summary="Change a setup", response_model=SetupAnswer)
def change(setup_id: SetupId, asked: SetupChange, person: Tuner, session: WriteSession, now: Now) -> Response:
    """Only the fields sent; 409 when somebody changed it meanwhile."""
    row, changes = locked(session, Setup, setup_id, "setup"), changes_of(asked)
    refuse_stale(row, asked.version, changes, "setup")
    apply(session, now, person.id, row, changes, "setup")
    session.flush()
    return Json(one(session, setup_id))
