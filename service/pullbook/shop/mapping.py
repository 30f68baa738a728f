"""Mapping: which channel map a file is read with – a given one, its own plain headings, or a saved one that fits."""

import hashlib
from collections.abc import Mapping, Sequence
from datetime import datetime

import numpy as np
import orjson
from numpy.typing import NDArray
from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session

from pullbook.db.stored_types import new_id
from pullbook.db.tables import ChannelMap
from pullbook.db.upserting import insert_once
from pullbook.errors import FieldProblem, Invalid
from pullbook.late_methods import dataclass
from pullbook.measure import CHANNELS
from pullbook.measure.units import UNITS, to_inside
from pullbook.runfile.channels import (
    QUANTITIES,
    ChannelChoice,
    ChannelMapError,
    Recognised,
    apply_map,
    columns_needed,
    recognise,
)
from pullbook.runfile.delimited import Header
from pullbook.runfile.unit_words import read_unit
from pullbook.shop.chaining import enter

RECOGNISED_PREFIX = "Recognised by its headings · "
SAVED_MAPS_TRIED = 500
_NAMED = select(ChannelMap.__table__.c.id).where(ChannelMap.__table__.c.name == bindparam("name"))  # built once


@dataclass(frozen=True, slots=True)
class Mapped:
    """How a file can be read: with this map, or not until somebody makes one, and why."""

    map_id: str | None
    how: str  # in words: which map was taken and why
    unreadable_reason: str | None


def choices_of(columns: Sequence[Mapping[str, str]]) -> tuple[ChannelChoice, ...]:
    """A stored map's columns as the reader takes them."""
    return tuple(ChannelChoice(column["header"], column["quantity"], column["unit"]) for column in columns)


def choose_map(
    session: Session,
    headers: Sequence[Header],
    values: NDArray[np.float64],
    given_map_id: str | None,
    recognised: Recognised,
    needs_roller: bool = True,
) -> Mapped:
    """The map to read a file with: the given one, else its headings, else a saved map whose headings are all in it.

    Invalid when the given map does not exist. A given map that does not fit leaves the file unreadable, and says why;
    so do saved maps that fit and contradict each other, for which of them is right only people know.
    """
    if given_map_id is not None:
        return _given(session, headers, values, given_map_id, needs_roller)
    if not recognised.questions:
        return Mapped(None, "recognised by its headings", None)
    fitting = _fitting(session, headers, values, needs_roller)
    if fitting:
        saved, *older = fitting
        for other in older:
            if (apart := _disagreement(saved, other)) is not None:
                return Mapped(None, "", f"needs a channel map: {apart}")
        return Mapped(saved.id, f"read with the saved channel map {saved.name!r}: its headings are all here", None)
    return Mapped(None, "", f"needs a channel map: {' '.join(recognised.questions)}")


def _given(
    session: Session, headers: Sequence[Header], values: NDArray[np.float64], map_id: str, needs_roller: bool
) -> Mapped:
    found = session.execute(select(ChannelMap.name, ChannelMap.columns).where(ChannelMap.id == map_id)).one_or_none()
    if found is None:
        raise Invalid(
            f"There is no channel map {map_id}.",
            FieldProblem("channel_map_id", map_id, "the id of a saved channel map"),
        )
    reason = misfit(headers, values, choices_of(found.columns), needs_roller)
    if reason is not None:
        return Mapped(None, "", f"the channel map {found.name!r} does not fit this file: {reason}")
    return Mapped(map_id, f"read with the channel map {found.name!r}, as asked", None)


def map_choices(session: Session, map_id: str) -> tuple[ChannelChoice, ...]:
    """What a saved map says; Invalid when there is none of that id."""
    columns = session.execute(select(ChannelMap.columns).where(ChannelMap.id == map_id)).scalar_one_or_none()
    if columns is None:
        raise Invalid(
            f"There is no channel map {map_id}.",
            FieldProblem("channel_map_id", map_id, "the id of a saved channel map"),
        )
    return choices_of(columns)


def preview(
    headers: Sequence[Header], values: NDArray[np.float64], choices: Sequence[ChannelChoice], rows: int
) -> list[dict[str, object]]:
    """What each choice makes of its column, in inside units: the first rows and its reach.

    Nothing where the file has no such column, or the quantity does not come in that unit.
    """
    places = {header.text: place for place, header in enumerate(headers)}
    shown: list[dict[str, object]] = []
    for choice in choices:
        made, label = np.empty(0), ""
        if choice.header in places and choice.unit in QUANTITIES.get(choice.quantity, ()):
            inside = CHANNELS[choice.quantity].inside_unit
            made, label = to_inside(values[places[choice.header]], choice.unit, inside), UNITS[inside].label
        finite = made[np.isfinite(made)]
        shown.append(
            {
                "header": choice.header,
                "quantity": choice.quantity,
                "unit": choice.unit,
                "first_values": made[:rows].tolist(),
                "smallest": float(finite.min()) if finite.size else None,
                "largest": float(finite.max()) if finite.size else None,
                "inside_unit": label,
            }
        )
    return shown


def misfit(
    headers: Sequence[Header],
    values: NDArray[np.float64],
    choices: Sequence[ChannelChoice],
    needs_roller: bool = True,
) -> str | None:
    """Why a map cannot read these columns, in words; None when it can."""
    try:
        wanted = columns_needed(headers, choices)
        apply_map([headers[place] for place in wanted], values[wanted], choices, needs_roller)
    except ChannelMapError as error:
        return error.reason
    return None


def _fitting(
    session: Session, headers: Sequence[Header], values: NDArray[np.float64], needs_roller: bool
) -> list[ChannelMap]:
    """The saved maps, newest first, all of whose headings stand in the file, letter for letter, and whose units it
    does not gainsay."""
    found = []
    here = {header.text for header in headers}
    saved = session.execute(
        select(ChannelMap)
        .where(~ChannelMap.name.startswith(RECOGNISED_PREFIX, autoescape=True))
        .order_by(ChannelMap.id.desc())
        .limit(SAVED_MAPS_TRIED)
    ).scalars()
    for one in saved:
        choices = choices_of(one.columns)
        fits = {choice.header for choice in choices} <= here and not _gainsaid(headers, choices)
        if fits and misfit(headers, values, choices, needs_roller) is None:
            found.append(one)
    return found


def _disagreement(newer: ChannelMap, older: ChannelMap) -> str | None:
    """Where two maps read one column differently, or one quantity from two columns, in words; None when nowhere."""
    here, there = choices_of(newer.columns), choices_of(older.columns)
    for one in here:
        for other in there:
            same_place, same_quantity = one.header == other.header, one.quantity == other.quantity
            if (same_place or same_quantity) and one != other:
                return (
                    f"the saved channel maps {newer.name!r} and {older.name!r} both fit this file and disagree: "
                    f"{newer.name!r} says {_said(one)}, {older.name!r} says {_said(other)}. Choose the one it is "
                    "to be read with."
                )
    return None


def _said(choice: ChannelChoice) -> str:
    return f"{choice.header!r} is {CHANNELS[choice.quantity].title.lower()} in {UNITS[choice.unit].label}"


def _gainsaid(headers: Sequence[Header], choices: Sequence[ChannelChoice]) -> bool:
    """Whether a row of units in the file states another unit than the map: another logger with the same headings."""
    stated = {header.text: read_unit(header.unit_text) for header in headers if header.unit_text not in header.text}
    for choice in choices:
        unit = stated.get(choice.header)
        if unit is not None and unit.identifier != choice.unit and unit.identifier in QUANTITIES[choice.quantity]:
            return True
    return False


def keep_recognised(session: Session, recognised: Recognised, now: datetime, staff_id: str) -> str:
    """The id of the map that says what the headings said.

    It is kept, so that a pull is read the same way for ever, also when later releases know more headings.
    """
    columns = [
        {"header": choice.header, "quantity": choice.quantity, "unit": choice.unit} for choice in recognised.choices
    ]
    name = RECOGNISED_PREFIX + hashlib.sha256(orjson.dumps(columns)).hexdigest()[:12]
    there: str | None = session.execute(_NAMED, {"name": name}).scalar_one_or_none()
    if there is not None:  # SQLite's guards refuse a second one before its conflict clause is asked
        return there
    own = new_id()
    session.execute(
        insert_once(session, ChannelMap.__table__, "name"),
        {"id": own, "name": name, "columns": columns, "made_at": now, "made_by": staff_id},
    )
    made: str = session.execute(_NAMED, {"name": name}).scalar_one()
    if made == own:
        enter(session, now, "channel map", made)
    return made


__all__ = ["RECOGNISED_PREFIX", "Mapped", "choices_of", "choose_map", "keep_recognised", "misfit", "recognise"]
