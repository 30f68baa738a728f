"""Safety checklists, version by version, and signings: who went through one, for which car, where and when."""

from typing import Annotated, Any

from fastapi import Path, Response
from pydantic import Field, StringConstraints
from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.api.listing import Cursor, Limit, page
from pullbook.api.shaping import Answer, Asked, Id, Instant, Line, Words
from pullbook.api.waivers import Replaces
from pullbook.db.arrival import SafetyChecklist, SafetySigning
from pullbook.db.tables import Cell, Staff, Ticket
from pullbook.deps import Now, Owner, ReadSession, SignedIn, Tuner, WriteSession
from pullbook.errors import NotFound
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.shop.signing_off import PointSigned, SigningWanted, sign, write_checklist

router = LateRouter(prefix="/api/v1", tags=["safety"])
ListId = Annotated[str, Path(description="The list's id.")]
TicketId = Annotated[str, Path(description="The ticket's id.")]
Point = Annotated[Line, StringConstraints(min_length=3)]


class NewChecklist(Asked):
    """The points to be gone through from now on, in their order."""

    points: Annotated[list[Point], Field(min_length=1, max_length=60)]
    replaces: Replaces


class ChecklistAnswer(Answer):
    """A version of the list. `made_by_name` is null for the one that came with the service."""

    id: str
    number: int
    points: list[str]
    made_at: Instant
    made_by_name: str | None


class ChecklistList(Answer):
    """A page of lists, the one in force first."""

    items: list[ChecklistAnswer]
    next: str | None


class SignedPoint(Asked):
    """A point: done, or why it does not apply."""

    done: bool
    note: Line = ""


class NewSigning(Asked):
    """Every point of the list, ticked or noted. `device_at`: what the device's own clock says; kept, never relied on.

    `paper_at`: it was signed on paper then and is written up now; what it covers is told so.
    """

    cell_id: Id
    checklist_id: Id
    points: Annotated[list[SignedPoint], Field(min_length=1, max_length=60)]
    note: Words = ""
    device_at: Instant | None = None
    paper_at: Instant | None = None


class PointAnswer(Answer):
    """A point as it was signed."""

    text: str
    done: bool
    note: str


class SigningAnswer(Answer):
    """A signing. It covers the pulls in that cell from `signed_at` to the end of that day by the shop's clock."""

    id: str
    ticket_id: str
    cell_id: str | None
    cell_name: str | None
    checklist_id: str | None
    checklist_number: int | None
    points: list[PointAnswer]
    note: str
    signed_at: Instant
    received_at: Instant
    device_at: Instant | None
    signed_by: str
    signed_by_name: str


class SigningList(Answer):
    """A page of signings, newest first."""

    items: list[SigningAnswer]
    next: str | None


LISTS = select(
    SafetyChecklist.id,
    SafetyChecklist.number,
    SafetyChecklist.points,
    SafetyChecklist.made_at,
    Staff.full_name.label("made_by_name"),
).outerjoin(Staff, Staff.id == SafetyChecklist.made_by)
_JOINED = {
    "cell_name": Cell.name,
    "checklist_number": SafetyChecklist.number,
    "signed_by_name": Staff.full_name,
    "listed": SafetyChecklist.points,
}
SIGNINGS = (
    select(
        *(getattr(SafetySigning, name) for name in SigningAnswer.model_fields if name not in _JOINED),
        *(column.label(name) for name, column in _JOINED.items()),
    )
    .join(Staff, Staff.id == SafetySigning.signed_by)
    .outerjoin(Cell, Cell.id == SafetySigning.cell_id)
    .outerjoin(SafetyChecklist, SafetyChecklist.id == SafetySigning.checklist_id)
)


def _one_list(session: Session, list_id: str) -> dict[str, Any]:
    row = session.execute(LISTS.where(SafetyChecklist.id == list_id)).one_or_none()
    if row is None:
        raise NotFound(f"There is no checklist {list_id}.")
    return dict(row._mapping)


def signing_facts(row: Any) -> dict[str, Any]:
    """A row of SIGNINGS as answered."""
    facts = dict(row._mapping)
    listed = facts.pop("listed") or []
    facts["points"] = [{"text": text, **point} for text, point in zip(listed, facts["points"], strict=True)]
    return facts


@router.post("/checklists", status_code=201, summary="Write the checklist anew", response_model=ChecklistAnswer)
def add(asked: NewChecklist, person: Owner, session: WriteSession, now: Now) -> Response:
    """In force from now on; what was signed before stays signed, in the points it had."""
    row = write_checklist(session, now, person.id, asked.points, asked.replaces)
    return Json(_one_list(session, row.id), 201)


@router.get("/checklists", summary="Versions of the checklist", response_model=ChecklistList)
def several(person: SignedIn, session: ReadSession, cursor: Cursor = None, limit: Limit = 50) -> Response:
    """The one in force first."""
    rows, following = page(session, LISTS, [SafetyChecklist.number, SafetyChecklist.id], cursor, limit)
    return Json({"items": [dict(row._mapping) for row in rows], "next": following})


@router.get("/checklists/{list_id}", summary="One version of the checklist", response_model=ChecklistAnswer)
def get(list_id: ListId, person: SignedIn, session: ReadSession) -> Response:
    """Point for point as it was signed, however old."""
    return Json(_one_list(session, list_id))


@router.post(
    "/tickets/{ticket_id}/signings", status_code=201, summary="Sign the checklist", response_model=SigningAnswer
)
def sign_off(ticket_id: TicketId, asked: NewSigning, person: Tuner, session: WriteSession, now: Now) -> Response:
    """Covers what is pulled in that cell from now to the end of the day, and nothing that was pulled before."""
    points = [PointSigned(point.done, point.note) for point in asked.points]
    wanted = SigningWanted(asked.cell_id, asked.checklist_id, points, asked.note, asked.device_at, asked.paper_at)
    signing_id = sign(session, now, person.id, ticket_id, wanted)
    row = session.execute(SIGNINGS.where(SafetySigning.id == signing_id)).one()
    return Json(signing_facts(row), 201)


@router.get("/tickets/{ticket_id}/signings", summary="A ticket's signings", response_model=SigningList)
def signed(
    ticket_id: TicketId, person: SignedIn, session: ReadSession, cursor: Cursor = None, limit: Limit = 50
) -> Response:
    """Newest first, each with its points as they read then."""
    if session.execute(select(Ticket.id).where(Ticket.id == ticket_id)).one_or_none() is None:
        raise NotFound(f"There is no ticket {ticket_id}.")
    statement = SIGNINGS.where(SafetySigning.ticket_id == ticket_id)
    rows, following = page(session, statement, [SafetySigning.signed_at, SafetySigning.id], cursor, limit)
    return Json({"items": [signing_facts(row) for row in rows], "next": following})
