"""The tray: files that a device sent without a ticket, until somebody says which pull each is."""

from typing import Annotated, Any

from fastapi import Path, Query, Response
from pydantic import StringConstraints
from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.api.listing import Cursor, Limit, page
from pullbook.api.pull_shapes import Kind, PullAnswer, one_pull
from pullbook.api.shaping import Answer, Asked, Id, Instant, Words
from pullbook.db.evidence import RawFile
from pullbook.db.senders import Device, TrayFile
from pullbook.db.tables import Cell, Setup
from pullbook.deps import Now, ReadSession, SignedIn, Tuner, WriteSession
from pullbook.errors import FieldProblem, Invalid, NotFound
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.shop.filing import PullWanted, refuse_unknown_target
from pullbook.shop.sending_in import assign, put_by

router = LateRouter(prefix="/api/v1/tray", tags=["tray"])
FileId = Annotated[str, Path(description="The file's id in the tray.")]


class Assignment(Asked):
    """Which pull the file is: that of this setup, and so of its ticket. `kind` as the device said when left out."""

    setup_id: Id
    kind: Kind | None = None


class PuttingBy(Asked):
    """Why the file belongs to no ticket."""

    reason: Annotated[Words, StringConstraints(min_length=1)]


class TrayAnswer(Answer):
    """A file in the tray, or one that has left it: as a pull, or put by with a reason."""

    id: str
    cell_id: str
    cell_name: str
    device_name: str
    sha256: str
    size_bytes: int
    file_name: str
    kind: Kind
    taken_at: Instant
    received_at: Instant
    clock_ahead_s: float | None
    pull_id: str | None
    put_by_reason: str | None
    settled_at: Instant | None
    version: int


class TrayList(Answer):
    """A page of the tray, the latest received first."""

    items: list[TrayAnswer]
    next: str | None


_JOINED = {"cell_name": Cell.name, "device_name": Device.name, "size_bytes": RawFile.size_bytes}
SELECTED = (
    select(
        *(getattr(TrayFile, name) for name in TrayAnswer.model_fields if name not in _JOINED),
        *(column.label(name) for name, column in _JOINED.items()),
    )
    .join(Cell, Cell.id == TrayFile.cell_id)
    .join(Device, Device.id == TrayFile.device_id)
    .join(RawFile, RawFile.sha256 == TrayFile.sha256)
)


def one_in_tray(session: Session, tray_id: str) -> dict[str, Any]:
    """A file of the tray as answered; NotFound when there is none."""
    row = session.execute(SELECTED.where(TrayFile.id == tray_id)).one_or_none()
    if row is None:
        raise NotFound(f"There is no file {tray_id} in the tray.")
    return dict(row._mapping)


@router.get("", summary="The tray", response_model=TrayList)
def several(
    person: SignedIn,
    session: ReadSession,
    settled: Annotated[bool, Query(description="Those that have left the tray instead.")] = False,
    cursor: Cursor = None,
    limit: Limit = 50,
) -> Response:
    """What waits for a ticket, the latest first."""
    left = TrayFile.settled_at.is_not(None) if settled else TrayFile.settled_at.is_(None)
    rows, following = page(session, SELECTED.where(left), [TrayFile.taken_at, TrayFile.id], cursor, limit)
    return Json({"items": [dict(row._mapping) for row in rows], "next": following})


@router.get("/{tray_id}", summary="One file of the tray", response_model=TrayAnswer)
def get(tray_id: FileId, person: SignedIn, session: ReadSession) -> Response:
    """As it came, and what became of it."""
    return Json(one_in_tray(session, tray_id))


@router.post("/{tray_id}/assign", status_code=201, summary="Say which pull it is", response_model=PullAnswer)
def say_which(tray_id: FileId, asked: Assignment, person: Tuner, session: WriteSession, now: Now) -> Response:
    """The file becomes a pull of that ticket and setup, taken when the device says; nothing of it is sent again."""
    waiting = one_in_tray(session, tray_id)
    ticket_id = session.execute(select(Setup.ticket_id).where(Setup.id == asked.setup_id)).scalar_one_or_none()
    if ticket_id is None:
        raise Invalid(
            f"There is no setup {asked.setup_id}.",
            FieldProblem("setup_id", asked.setup_id, "the id of a ticket's setup"),
        )
    kind = asked.kind or waiting["kind"]
    wanted = PullWanted(ticket_id, asked.setup_id, waiting["cell_id"], kind, waiting["taken_at"], waiting["file_name"])
    refuse_unknown_target(session, wanted)
    pull_id = assign(session, now, person.id, tray_id, wanted)
    return Json(one_pull(session, pull_id), 201)


@router.post("/{tray_id}/put-by", status_code=201, summary="Put it by", response_model=TrayAnswer)
def belongs_nowhere(tray_id: FileId, asked: PuttingBy, person: Tuner, session: WriteSession, now: Now) -> Response:
    """It belongs to no ticket; it stays on record with the reason."""
    put_by(session, now, person.id, tray_id, asked.reason)
    return Json(one_in_tray(session, tray_id), 201)
