"""Channel maps: which column of a file is what, and in which unit. Made once, saved by name, never edited."""

from typing import Annotated, Any

from fastapi import Path, Query, Response
from pydantic import Field, StringConstraints
from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.api.editing import record_making
from pullbook.api.listing import Cursor, Limit, page
from pullbook.api.shaping import Answer, Asked, Id, Instant, Name
from pullbook.db.tables import ChannelMap, Staff
from pullbook.deps import Now, ReadSession, SignedIn, Tuner, WriteSession
from pullbook.errors import Clash, FieldProblem, Invalid, NotFound
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.measure import CHANNELS
from pullbook.measure.units import UNITS
from pullbook.runfile.channels import QUANTITIES, QUANTITY_TITLES, ChannelChoice, check_map
from pullbook.shop.chaining import enter
from pullbook.shop.mapping import RECOGNISED_PREFIX

router = LateRouter(prefix="/api/v1/channel-maps", tags=["channel-maps"])

HeaderText = Annotated[str, StringConstraints(min_length=1, max_length=4096, strip_whitespace=False)]


class MapColumn(Asked):
    """The column headed `header` is `quantity`, written in `unit`."""

    header: HeaderText
    quantity: Id
    unit: Annotated[str, StringConstraints(max_length=40)]


class NewMap(Asked):
    """A map under a name of its own; columns it does not name are left alone."""

    name: Name
    columns: Annotated[list[MapColumn], Field(min_length=1, max_length=512)]
    beside_a_pull: Annotated[bool, Field(description="For files joined to a pull, which have no roller speed.")] = False


class MapColumnAnswer(Answer):
    """One line of a map."""

    header: str
    quantity: str
    unit: str


class MapAnswer(Answer):
    """A map on record. `recognised`: made by itself from headings that leave no doubt, not by a person."""

    id: str
    name: str
    columns: list[MapColumnAnswer]
    recognised: bool
    made_at: Instant
    made_by_name: str


class MapList(Answer):
    """A page of maps, newest first."""

    items: list[MapAnswer]
    next: str | None


class QuantityAnswer(Answer):
    """A quantity that a column can be, and the units it may come in."""

    quantity: str
    title: str
    units: list[dict[str, str]]


class QuantityList(Answer):
    """Everything that a column can be."""

    items: list[QuantityAnswer]
    next: None


SELECTED = select(
    ChannelMap.id,
    ChannelMap.name,
    ChannelMap.columns,
    ChannelMap.made_at,
    Staff.full_name.label("made_by_name"),
).join(Staff, Staff.id == ChannelMap.made_by)


def _answer(row: Any) -> dict[str, Any]:
    return {**row._mapping, "recognised": row.name.startswith(RECOGNISED_PREFIX)}


def one(session: Session, map_id: str) -> dict[str, Any]:
    """A map as answered; NotFound when there is none."""
    row = session.execute(SELECTED.where(ChannelMap.id == map_id)).one_or_none()
    if row is None:
        raise NotFound(f"There is no channel map {map_id}.")
    return _answer(row)


@router.post("", status_code=201, summary="Save a channel map", response_model=MapAnswer)
def add(asked: NewMap, person: Tuner, session: WriteSession, now: Now) -> Response:
    """Never edited afterwards: pulls read with it stay as they are. Save another under another name."""
    choices = [ChannelChoice(column.header, column.quantity, column.unit) for column in asked.columns]
    check_map(choices, needs_roller=not asked.beside_a_pull)
    if asked.name.startswith(RECOGNISED_PREFIX):
        raise Invalid(
            f"Names that begin with {RECOGNISED_PREFIX!r} are given by the service itself.",
            FieldProblem("name", asked.name, "another beginning"),
        )
    if session.execute(select(ChannelMap.id).where(ChannelMap.name == asked.name)).one_or_none() is not None:
        raise Clash(f"There is a channel map called {asked.name} already.", FieldProblem("name", asked.name, "its own"))
    columns = [column.model_dump() for column in asked.columns]
    row = ChannelMap(name=asked.name, columns=columns, made_at=now, made_by=person.id)
    session.add(row)
    session.flush()
    record_making(session, now, person.id, row, asked.model_dump(), "channel_map")
    enter(session, now, "channel map", row.id)
    return Json(one(session, row.id), 201)


@router.get("", summary="Saved channel maps", response_model=MapList)
def several(
    person: SignedIn,
    session: ReadSession,
    recognised: Annotated[bool, Query(description="Also those that the service made by itself.")] = False,
    cursor: Cursor = None,
    limit: Limit = 50,
) -> Response:
    """Newest first, a page at a time."""
    statement = SELECTED
    if not recognised:
        statement = statement.where(~ChannelMap.name.startswith(RECOGNISED_PREFIX, autoescape=True))
    rows, following = page(session, statement, [ChannelMap.id], cursor, limit)
    return Json({"items": [_answer(row) for row in rows], "next": following})


@router.get("/quantities", summary="What a column can be", response_model=QuantityList)
def quantities(person: SignedIn) -> Response:
    """Every quantity with the units it may come in: what a screen for making maps offers."""
    items = [
        {
            "quantity": quantity,
            "title": QUANTITY_TITLES.get(quantity) or CHANNELS[quantity].title,
            "units": [{"unit": unit, "label": UNITS[unit].label} for unit in units],
        }
        for quantity, units in QUANTITIES.items()
    ]
    return Json({"items": items, "next": None})


@router.get("/{map_id}", summary="One channel map", response_model=MapAnswer)
def get(map_id: Annotated[str, Path()], person: SignedIn, session: ReadSession) -> Response:
    """As it is on record now."""
    return Json(one(session, map_id))
