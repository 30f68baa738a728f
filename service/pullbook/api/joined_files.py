"""Joined files: another logger's file beside a pull, kept as it came, and how it lies on the pull's clock."""

from typing import Annotated, Any

from fastapi import Depends, Path, Query, Request, Response
from sqlalchemy import select
from sqlalchemy.exc import IntegrityError

from pullbook.api.editing import apply, locked, record_change, refuse_stale
from pullbook.api.joined_shapes import JoinedAnswer, JoinedChange, JoinedList, joined_answers, one_joined
from pullbook.api.pull_shapes import SetAside
from pullbook.api.raw_answers import raw_answer
from pullbook.api.receiving import FILE_BODY, Received, receive
from pullbook.api.shaping import changes_of
from pullbook.db.joined import JoinedFile
from pullbook.deps import DatabaseDep, Now, ReadSession, SettingsDep, SignedIn, Tuner, WriteSession
from pullbook.errors import Clash, FieldProblem, NotFound
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.shop.attesting import attest
from pullbook.shop.filing import read_file, verify_stored
from pullbook.shop.joining import (
    JoinWanted,
    already_joined,
    join_file,
    refuse_unknown_pull,
)

router = LateRouter(prefix="/api/v1", tags=["joined files"])
PullId = Annotated[str, Path(description="The pull's id.")]
JoinedId = Annotated[str, Path(description="The joined file's id.")]


def joined_wanted(
    pull_id: PullId,
    file_name: Annotated[str, Query(min_length=1, max_length=1000, description="What the file is called.")],
    person: Tuner,
    session: ReadSession,
    channel_map_id: Annotated[str | None, Query(description="A saved channel map, where one is needed.")] = None,
) -> JoinWanted:
    """What it is to be joined to, checked before a byte of it is read."""
    refuse_unknown_pull(session, pull_id)
    session.rollback()  # a slow upload must not hold a connection and its view of the records
    return JoinWanted(pull_id, file_name, channel_map_id)


Wanted = Annotated[JoinWanted, Depends(joined_wanted)]


async def joined_body(request: Request, wanted: Wanted, settings: SettingsDep) -> Received:
    """The body, read only once it is known what it is joined to."""
    return await receive(request, settings)


@router.post(
    "/pulls/{pull_id}/joined-files",
    status_code=201,
    summary="Join another logger's file to a pull",
    response_model=JoinedAnswer,
    responses={
        200: {"model": JoinedAnswer, "description": "This very file is joined to this pull already: the same answer."},
        413: {"description": "More bytes than are taken; refused before they are read."},
        415: {"description": "Not a kind of file that is read here."},
    },
    openapi_extra=FILE_BODY,
)
def join(
    wanted: Wanted,
    received: Annotated[Received, Depends(joined_body)],
    person: Tuner,
    database: DatabaseDep,
    settings: SettingsDep,
    now: Now,
) -> Response:
    """Kept as it came, under its own hash, and laid on the pull's clock by matching engine speed."""
    with database.reading() as session:
        there = already_joined(session, wanted.pull_id, received.sha256)
        if there is not None:
            return Json(one_joined(session, there), 200)
    read = read_file(received.data, received.sha256)
    try:
        with database.writing() as session:
            joined_id, made = join_file(session, now, person.id, wanted, read)
    except IntegrityError:
        joined_id, made = _found_meanwhile(database, wanted.pull_id, received.sha256), False
    attest(database, settings.signing_key, now)
    with database.reading() as session:  # a connection that did not write it
        verify_stored(session, received.sha256)
        return Json(one_joined(session, joined_id), 201 if made else 200)


def _found_meanwhile(database: DatabaseDep, pull_id: str, sha256: str) -> str:
    """The one that somebody else joined between our look and our write; the rule that was broken, if it is none."""
    with database.reading() as session:
        there = already_joined(session, pull_id, sha256)
    if there is None:
        raise Clash("The pull changed while this was joined to it; nothing was kept. Send it again.")
    return there


@router.get("/pulls/{pull_id}/joined-files", summary="A pull's joined files", response_model=JoinedList)
def several(pull_id: PullId, person: SignedIn, session: ReadSession) -> Response:
    """In the order they came, each with where it lies on the pull's clock and what it gives."""
    return Json({"items": joined_answers(session, pull_id)})


@router.get("/joined-files/{joined_id}", summary="One joined file", response_model=JoinedAnswer)
def get(joined_id: JoinedId, person: SignedIn, session: ReadSession) -> Response:
    """With where it lies on its pull's clock and what it gives."""
    return Json(one_joined(session, joined_id))


@router.get(
    "/joined-files/{joined_id}/raw",
    summary="A joined file's bytes",
    response_class=Response,
    responses={200: {"content": {"application/octet-stream": {}}, "description": "The very bytes that were sent."}},
)
def raw(joined_id: JoinedId, person: SignedIn, session: ReadSession) -> Response:
    """Byte for byte as it came, whatever the service could make of it."""
    statement = select(JoinedFile.sha256, JoinedFile.file_name).where(JoinedFile.id == joined_id)
    row = session.execute(statement).one_or_none()
    if row is None:
        raise NotFound(f"There is no joined file {joined_id}.")
    return raw_answer(session, row.sha256, row.file_name)


@router.patch("/joined-files/{joined_id}", summary="Move a joined file", response_model=JoinedAnswer)
def change(joined_id: JoinedId, asked: JoinedChange, person: Tuner, session: WriteSession, now: Now) -> Response:
    """Its offset by hand, or by matching again. 409 when somebody changed it meanwhile."""
    row, changes = locked(session, JoinedFile, joined_id, "joined file"), changes_of(asked)
    refuse_stale(row, asked.version, changes, "joined file")
    if "offset_s" in changes and changes["offset_s"] != row.offset_s:
        by_hand = changes["offset_s"] is not None
        changes |= {"offset_by": person.id if by_hand else None, "offset_at": now if by_hand else None}
    apply(session, now, person.id, row, changes, "joined_file")
    session.flush()
    return Json(one_joined(session, joined_id))


@router.post("/joined-files/{joined_id}/left-out", status_code=201, summary="Leave it out", response_model=JoinedAnswer)
def leave_out(joined_id: JoinedId, asked: SetAside, person: Tuner, session: WriteSession, now: Now) -> Response:
    """It stays on record and gives the pull nothing. Nothing is ever deleted."""
    row = locked(session, JoinedFile, joined_id, "joined file")
    if row.left_out_at is not None:
        raise Clash(
            f"This file is left out already: {row.left_out_reason}",
            FieldProblem("reason", asked.reason, "take it back first to give another reason"),
        )
    _mark(row, person.id, now, asked.reason)
    session.flush()
    record_change(session, now, person.id, row, {"left_out_reason": None}, "joined_file")
    return Json(one_joined(session, joined_id), 201)


@router.delete("/joined-files/{joined_id}/left-out", summary="Let it count again", response_model=JoinedAnswer)
def take_back(joined_id: JoinedId, person: Tuner, session: WriteSession, now: Now) -> Response:
    """That it was left out, and why, stays in the audit trail."""
    row = locked(session, JoinedFile, joined_id, "joined file")
    before = row.left_out_reason
    if before is not None:
        _mark(row, None, None, None)
        session.flush()
        record_change(session, now, person.id, row, {"left_out_reason": before}, "joined_file")
    return Json(one_joined(session, joined_id))


def _mark(row: JoinedFile, staff_id: str | None, at: Any, reason: str | None) -> None:
    row.left_out_by, row.left_out_at, row.left_out_reason = staff_id, at, reason
    row.version += 1
