"""Columns of a joined file: what it holds, what its headings say, and which channel map it is to be read with."""

from typing import Annotated

from fastapi import Path, Query, Response

from pullbook.api.columns import ColumnsAnswer, MapTried, PreviewAnswer, columns_facts, tried_facts
from pullbook.api.editing import locked, record_change
from pullbook.api.joined_shapes import JoinedAnswer, one_joined
from pullbook.api.pull_shapes import MapChosen
from pullbook.db.joined import JoinedFile
from pullbook.deps import Now, ReadSession, SignedIn, Tuner, WriteSession
from pullbook.errors import FieldProblem, Invalid
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.shop.mapping import map_choices, misfit
from pullbook.shop.unpacking import columns_of, make_columns

router = LateRouter(prefix="/api/v1/joined-files", tags=["joined files"])
JoinedId = Annotated[str, Path(description="The joined file's id.")]


@router.get("/{joined_id}/columns", summary="What a joined file holds", response_model=ColumnsAnswer)
def get(
    joined_id: JoinedId,
    person: SignedIn,
    session: ReadSession,
    channel_map_id: Annotated[str | None, Query(description="Preview the file as this map reads it.")] = None,
) -> Response:
    """What a screen for making a channel map shows; no roller speed is asked for."""
    kept = one_joined(session, joined_id)
    return Json(columns_facts(session, kept, kept["pull_id"], channel_map_id, needs_roller=False))


@router.post("/{joined_id}/columns/preview", summary="Try a channel map on it", response_model=PreviewAnswer)
def try_map(joined_id: JoinedId, asked: MapTried, person: SignedIn, session: ReadSession) -> Response:
    """The file's columns as this map would read them; nothing is kept."""
    return Json(tried_facts(session, one_joined(session, joined_id)["sha256"], asked, needs_roller=False))


@router.put("/{joined_id}/channel-map", summary="Choose its channel map", response_model=JoinedAnswer)
def choose(joined_id: JoinedId, asked: MapChosen, person: Tuner, session: WriteSession, now: Now) -> Response:
    """Makes an unreadable joined file readable, or a readable one read otherwise; the file itself is never touched."""
    row = locked(session, JoinedFile, joined_id, "joined file")
    choices = map_choices(session, asked.channel_map_id)
    columns = columns_of(session, row.sha256) or make_columns(session, row.sha256)
    wrong = misfit(columns.headers, columns.values, choices, needs_roller=False)
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
        record_change(session, now, person.id, row, before, "joined_file")
    return Json(one_joined(session, joined_id))
