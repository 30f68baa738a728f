"""Fuel map layouts: the edges of a controller's own table, saved under a name for the next car that has it."""

from typing import Annotated, Any, Literal

from fastapi import Path, Response
from pydantic import Field
from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.api.editing import apply, locked, record_making, refuse_stale
from pullbook.api.listing import Cursor, Limit, page
from pullbook.api.shaping import UNSET, Answer, Asked, Instant, Name, changes_of
from pullbook.db.tables import Staff
from pullbook.db.tuning import FuelMapLayout
from pullbook.deps import Now, ReadSession, SignedIn, Tuner, WriteSession
from pullbook.errors import Clash, FieldProblem, NotFound
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.shop.fuel_mapping import check_edges

router = LateRouter(prefix="/api/v1/fuel-map-layouts", tags=["fuel-maps"])

Edges = Annotated[
    list[Annotated[float, Field(ge=0.0, le=50_000.0)]],
    Field(min_length=2, max_length=61, description="Rising; n + 1 edges make n cells."),
]
LoadAxis = Literal["manifold_pressure_kpa", "throttle_pct"]
MinimumTime = Annotated[float, Field(ge=0.0, le=600.0, description="Cells with less time are blank, s.")]
LayoutId = Annotated[str, Path(description="The layout's id.")]


class NewLayout(Asked):
    """The edges of a map's cells: engine speed in rev/min, load in the unit of its axis."""

    name: Name
    load_axis: LoadAxis
    speed_edges_rpm: Edges
    load_edges: Edges
    minimum_time_s: MinimumTime = 0.5


class LayoutChange(Asked):
    """What is to change; `version` is the one last read."""

    version: int
    name: Name = UNSET
    load_axis: LoadAxis = UNSET
    speed_edges_rpm: Edges = UNSET
    load_edges: Edges = UNSET
    minimum_time_s: MinimumTime = UNSET


class LayoutAnswer(Answer):
    """A layout on record."""

    id: str
    name: str
    load_axis: str
    speed_edges_rpm: list[float]
    load_edges: list[float]
    minimum_time_s: float
    made_at: Instant
    made_by_name: str
    version: int


class LayoutList(Answer):
    """A page of layouts, newest first."""

    items: list[LayoutAnswer]
    next: str | None


_COLUMNS = ("id", "name", "load_axis", "speed_edges_rpm", "load_edges", "minimum_time_s", "made_at", "version")
SELECTED = select(*(getattr(FuelMapLayout, name) for name in _COLUMNS), Staff.full_name.label("made_by_name")).join(
    Staff, Staff.id == FuelMapLayout.made_by
)


def _one(session: Session, layout_id: str) -> dict[str, Any]:
    row = session.execute(SELECTED.where(FuelMapLayout.id == layout_id)).one_or_none()
    if row is None:
        raise NotFound(f"There is no fuel map layout {layout_id}.")
    return dict(row._mapping)


def _refuse_taken(session: Session, name: str, besides: str = "") -> None:
    taken = select(FuelMapLayout.id).where(FuelMapLayout.name == name, FuelMapLayout.id != besides)
    if session.execute(taken).first() is not None:
        raise Clash(f"There is a layout called {name} already.", FieldProblem("name", name, "a name of its own"))


@router.post("", status_code=201, summary="Save a fuel map layout", response_model=LayoutAnswer)
def add(asked: NewLayout, person: Tuner, session: WriteSession, now: Now) -> Response:
    """From then on it can be chosen for any setup's map."""
    check_edges(asked.speed_edges_rpm, asked.load_edges)
    _refuse_taken(session, asked.name)
    row = FuelMapLayout(**asked.model_dump(), made_at=now, made_by=person.id)
    session.add(row)
    session.flush()
    record_making(session, now, person.id, row, asked.model_dump(), "fuel_map_layout")
    return Json(_one(session, row.id), 201)


@router.get("", summary="Saved fuel map layouts", response_model=LayoutList)
def several(person: SignedIn, session: ReadSession, cursor: Cursor = None, limit: Limit = 50) -> Response:
    """Newest first, a page at a time."""
    rows, following = page(session, SELECTED, [FuelMapLayout.id], cursor, limit)
    return Json({"items": [dict(row._mapping) for row in rows], "next": following})


@router.get("/{layout_id}", summary="One fuel map layout", response_model=LayoutAnswer)
def get(layout_id: LayoutId, person: SignedIn, session: ReadSession) -> Response:
    """As it is on record now."""
    return Json(_one(session, layout_id))


@router.patch("/{layout_id}", summary="Change a fuel map layout", response_model=LayoutAnswer)
def change(layout_id: LayoutId, asked: LayoutChange, person: Tuner, session: WriteSession, now: Now) -> Response:
    """Only the fields sent; maps that name it are laid out anew when next looked at."""
    row = locked(session, FuelMapLayout, layout_id, "fuel map layout")
    changes = changes_of(asked)
    refuse_stale(row, asked.version, changes, "fuel map layout")
    check_edges(changes.get("speed_edges_rpm", row.speed_edges_rpm), changes.get("load_edges", row.load_edges))
    if "name" in changes:
        _refuse_taken(session, changes["name"], layout_id)
    apply(session, now, person.id, row, changes, "fuel_map_layout")
    session.flush()
    return Json(_one(session, layout_id))
