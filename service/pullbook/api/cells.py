"""Cells: the dynamometer installations, and the calibrations in force on each of them."""

from typing import Annotated, Any, Literal

from fastapi import Path, Response
from pydantic import Field
from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.api.editing import apply, locked, record_making, refuse_stale
from pullbook.api.listing import Cursor, Limit, page
from pullbook.api.shaping import UNSET, Answer, Asked, Name, Words, changes_of
from pullbook.db.tables import Cell
from pullbook.deps import Now, Owner, ReadSession, SignedIn, WriteSession
from pullbook.errors import Clash, FieldProblem, NotFound
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter

router = LateRouter(prefix="/api/v1/cells", tags=["cells"])
CellId = Annotated[str, Path(description="The cell's id.")]

Drive = Literal["two_wheel", "all_wheel"]
Altitude = Annotated[float, Field(ge=-500, le=6000, description="Of the rollers above sea level, in metres.")]


class NewCell(Asked):
    """A dynamometer installation."""

    name: Name
    drive: Drive
    has_brake: bool
    altitude_m: Altitude
    notes: Words = ""


class CellChange(Asked):
    """What to change; `version` is the one last read."""

    version: int
    name: Name = UNSET
    drive: Drive = UNSET
    has_brake: bool = UNSET
    altitude_m: Altitude = UNSET
    notes: Words = UNSET


class CellAnswer(Answer):
    """A cell on record."""

    id: str
    name: str
    drive: Drive
    has_brake: bool
    altitude_m: float
    notes: str
    version: int


class CellList(Answer):
    """A page of cells, newest first."""

    items: list[CellAnswer]
    next: str | None


COLUMNS = tuple(getattr(Cell, name) for name in CellAnswer.model_fields)


def one(session: Session, cell_id: str) -> dict[str, Any]:
    """A cell as answered; NotFound when there is none."""
    row = session.execute(select(*COLUMNS).where(Cell.id == cell_id)).mappings().one_or_none()
    if row is None:
        raise NotFound(f"There is no cell {cell_id}.")
    return dict(row)


def _refuse_taken_name(session: Session, name: str, own_id: str = "") -> None:
    other = session.execute(select(Cell.id).where(Cell.name == name)).scalar_one_or_none()
    if other is not None and other != own_id:
        raise Clash(f"There is a cell called {name} already.", FieldProblem("name", name, "a name of its own"))


@router.post("", status_code=201, summary="Add a cell", response_model=CellAnswer)
def add(asked: NewCell, person: Owner, session: WriteSession, now: Now) -> Response:
    """Pulls can be filed on it at once; they read as curves once it has a calibration."""
    _refuse_taken_name(session, asked.name)
    row = Cell(**asked.model_dump())
    session.add(row)
    session.flush()
    record_making(session, now, person.id, row, asked.model_dump(), "cell")
    return Json(one(session, row.id), 201)


@router.get("", summary="All cells", response_model=CellList)
def several(person: SignedIn, session: ReadSession, cursor: Cursor = None, limit: Limit = 50) -> Response:
    """Newest first, a page at a time."""
    rows, following = page(session, select(*COLUMNS), [Cell.id], cursor, limit)
    return Json({"items": [dict(row._mapping) for row in rows], "next": following})


@router.get("/{cell_id}", summary="One cell", response_model=CellAnswer)
def get(cell_id: CellId, person: SignedIn, session: ReadSession) -> Response:
    """As it is on record now."""
    return Json(one(session, cell_id))


@router.patch("/{cell_id}", summary="Change a cell", response_model=CellAnswer)
def change(cell_id: CellId, asked: CellChange, person: Owner, session: WriteSession, now: Now) -> Response:
    """Only the fields sent; 409 when somebody changed it meanwhile."""
    row, changes = locked(session, Cell, cell_id, "cell"), changes_of(asked)
    refuse_stale(row, asked.version, changes, "cell")
    if "name" in changes:
        _refuse_taken_name(session, changes["name"], cell_id)
    apply(session, now, person.id, row, changes, "cell")
    session.flush()
    return Json(one(session, cell_id))
