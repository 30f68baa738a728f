"""Columns: what a pull's file holds, what its headings say of it, and which channel map it is to be read with."""

from collections.abc import Mapping
from typing import Annotated, Any

import numpy as np
from fastapi import Path, Query, Response
from pydantic import Field
from sqlalchemy.orm import Session

from pullbook.api.channel_maps import MapColumn
from pullbook.api.editing import locked, record_change
from pullbook.api.pull_shapes import MapChosen, PullAnswer, one_pull
from pullbook.api.shaping import Answer, Asked
from pullbook.db.evidence import Pull
from pullbook.deps import Now, ReadSession, SignedIn, Tuner, WriteSession
from pullbook.errors import Clash, FieldProblem, Invalid
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.runfile.channels import ChannelChoice
from pullbook.shop.mapping import map_choices, misfit, preview, recognise
from pullbook.shop.unpacking import Columns, columns_of, make_columns

router = LateRouter(prefix="/api/v1/pulls", tags=["pulls"])
PullId = Annotated[str, Path(description="The pull's id.")]
ROWS_SHOWN = 12


class ColumnAnswer(Answer):
    """One column of the file with its first cells; null where a cell is blank or no number."""

    header: str
    unit: str
    first_values: list[float | None]
    smallest: float | None
    largest: float | None


class ChoiceAnswer(Answer):
    """What a column would be, and its values as they would be calculated with, in `inside_unit`."""

    header: str
    quantity: str
    unit: str
    first_values: list[float | None]
    smallest: float | None
    largest: float | None
    inside_unit: str


class ColumnsAnswer(Answer):
    """The file as columns. `questions`: what its headings leave open; `misfit`: why the map asked about cannot be."""

    pull_id: str
    row_count: int
    found: dict[str, str]
    columns: list[ColumnAnswer]
    choices: list[ChoiceAnswer]
    questions: list[str]
    channel_map_id: str | None
    misfit: str | None
    reason: str | None


class MapTried(Asked):
    """A channel map as far as it is made; nothing of it is kept."""

    columns: Annotated[list[MapColumn], Field(max_length=512)]


class PreviewAnswer(Answer):
    """What the map would make of the file; `misfit`: what it still lacks, or why it cannot be; null when it will do."""

    choices: list[ChoiceAnswer]
    misfit: str | None


def _column(header: str, unit: str, values: Any) -> dict[str, Any]:
    finite = values[np.isfinite(values)]
    return {
        "header": header,
        "unit": unit,
        "first_values": values[:ROWS_SHOWN].tolist(),
        "smallest": float(finite.min()) if finite.size else None,
        "largest": float(finite.max()) if finite.size else None,
    }


def _told(session: Session, columns: Columns, channel_map_id: str | None, needs_roller: bool) -> dict[str, Any]:
    """What is made of the columns: by a map where one is asked about, else by their headings."""
    questions: list[str] = []
    wrong = None
    if channel_map_id is None:
        recognised = recognise(columns.headers, columns.values, needs_roller)
        choices, questions = recognised.choices, list(recognised.questions)
    else:
        choices = map_choices(session, channel_map_id)
        wrong = misfit(columns.headers, columns.values, choices, needs_roller)
    return {
        "choices": preview(columns.headers, columns.values, choices, ROWS_SHOWN),
        "questions": questions,
        "misfit": wrong,
    }


@router.get("/{pull_id}/columns", summary="What a pull's file holds", response_model=ColumnsAnswer)
def get(
    pull_id: PullId,
    person: SignedIn,
    session: ReadSession,
    channel_map_id: Annotated[str | None, Query(description="Preview the file as this map reads it.")] = None,
) -> Response:
    """What a screen for making a channel map shows: headings, first rows, guesses and open questions."""
    return Json(columns_facts(session, one_pull(session, pull_id), pull_id, channel_map_id))


def columns_facts(
    session: Session, kept: Mapping[str, Any], pull_id: str, channel_map_id: str | None, needs_roller: bool = True
) -> dict[str, Any]:
    """The file of a pull, or of what is joined to one, as columns. `kept`: that record as answered."""
    columns = columns_of(session, kept["sha256"])
    told = {"pull_id": pull_id, "channel_map_id": channel_map_id or kept["channel_map_id"], "reason": kept["reason"]}
    if columns is None:
        nothing: dict[str, Any] = {"row_count": 0, "found": {}, "columns": [], "choices": [], "questions": []}
        return {**told, **nothing, "misfit": None}
    named = zip(columns.headers, columns.values, strict=True)
    return {
        **told,
        "row_count": columns.values.shape[1],
        "found": columns.found,
        "columns": [_column(header.text, header.unit_text, values) for header, values in named],
        **_told(session, columns, channel_map_id, needs_roller),
    }


@router.post("/{pull_id}/columns/preview", summary="Try a channel map that is not saved", response_model=PreviewAnswer)
def try_map(pull_id: PullId, asked: MapTried, person: SignedIn, session: ReadSession) -> Response:
    """The file's columns as this map would read them: nothing is kept, and a map half made is answered half."""
    return Json(tried_facts(session, one_pull(session, pull_id)["sha256"], asked))


def tried_facts(session: Session, sha256: str, asked: MapTried, needs_roller: bool = True) -> dict[str, Any]:
    """What a map that is not saved would make of a file. Clash where the file has no columns."""
    columns = columns_of(session, sha256)
    if columns is None:
        raise Clash("This file could not be taken apart into columns, so there is nothing to try a map on.")
    choices = [ChannelChoice(column.header, column.quantity, column.unit) for column in asked.columns]
    return {
        "choices": preview(columns.headers, columns.values, choices, ROWS_SHOWN),
        "misfit": misfit(columns.headers, columns.values, choices, needs_roller),
    }


@router.put("/{pull_id}/channel-map", summary="Choose a pull's channel map", response_model=PullAnswer)
def choose(pull_id: PullId, asked: MapChosen, person: Tuner, session: WriteSession, now: Now) -> Response:
    """Makes an unreadable pull readable, or a readable one read otherwise; the file itself is never touched."""
    row = locked(session, Pull, pull_id, "pull")
    choices = map_choices(session, asked.channel_map_id)
    columns = columns_of(session, row.sha256) or make_columns(session, row.sha256)
    wrong = misfit(columns.headers, columns.values, choices)
    if wrong is not None:
        raise Invalid(
            f"This channel map cannot read this file: {wrong}",
            FieldProblem("channel_map_id", asked.channel_map_id, "a map whose headings are all in the file"),
        )
    before = {name: getattr(row, name) for name in ("channel_map_id", "state", "unreadable_reason")}
    if row.channel_map_id != asked.channel_map_id or row.state != "readable":
        row.channel_map_id, row.state, row.unreadable_reason = asked.channel_map_id, "readable", None
        row.version += 1
        session.flush()
        record_change(session, now, person.id, row, before, "pull")
    return Json(one_pull(session, pull_id))
