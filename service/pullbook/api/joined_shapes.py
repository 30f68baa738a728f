"""Joined files in words and numbers: what is asked of one, and what is answered."""

from typing import Annotated, Any, Literal

from pydantic import Field
from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.api.shaping import UNSET, Answer, Asked, Instant
from pullbook.db.evidence import RawFile
from pullbook.db.joined import JoinedFile
from pullbook.db.tables import Staff
from pullbook.errors import NotFound
from pullbook.shop.joining import JoinedRead, found_in, joined_of

FURTHEST_S = 1e10  # a clock of seconds since 1970 lies 1.8e9 from one that begins with the pull


class FitAnswer(Answer):
    """What matching both engine speeds came to. `offset_s` null: nothing certain; `reason` says what would help."""

    offset_s: float | None
    u_s: float | None
    residual_rpm: float | None
    matched_share: float
    reason: str | None


class JoinedAnswer(Answer):
    """A file joined to a pull. `offset_s` is added to its own time to give the pull's; null: it gives nothing, and
    `failure` says why. `channels`: what it gives to the pull, which has no such channel itself. `found`: what reading
    it came upon, in words: frames lost, channels left out."""

    id: str
    pull_id: str
    sha256: str
    size_bytes: int
    file_name: str
    received_at: Instant
    made_by_name: str
    reader: str | None
    found: dict[str, str]
    state: Literal["readable", "unreadable"]
    reason: str | None
    channel_map_id: str | None
    channel_map_name: str | None
    offset_s: float | None
    offset_by_hand: bool
    fit: FitAnswer | None
    channels: list[str]
    failure: str | None
    left_out_reason: str | None
    version: int


class JoinedList(Answer):
    """A pull's joined files, in the order they came."""

    items: list[JoinedAnswer]


class JoinedChange(Asked):
    """What to change of how it is read; null for `offset_s`: found by matching again."""

    version: int
    offset_s: Annotated[float | None, Field(ge=-FURTHEST_S, le=FURTHEST_S)] = UNSET


def one_joined(session: Session, joined_id: str) -> dict[str, Any]:
    """A joined file as answered; NotFound when there is none."""
    pull_id = session.execute(select(JoinedFile.pull_id).where(JoinedFile.id == joined_id)).scalar_one_or_none()
    if pull_id is None:
        raise NotFound(f"There is no joined file {joined_id}.")
    return next(one for one in joined_answers(session, pull_id) if one["id"] == joined_id)


def joined_answers(session: Session, pull_id: str) -> list[dict[str, Any]]:
    """A pull's joined files as answered; NotFound when there is no such pull."""
    joined = joined_of(session, pull_id)
    rows = session.execute(
        select(JoinedFile.id, RawFile.size_bytes, Staff.full_name)
        .join(RawFile, RawFile.sha256 == JoinedFile.sha256)
        .join(Staff, Staff.id == JoinedFile.made_by)
        .where(JoinedFile.pull_id == pull_id)
    )
    beside = {row.id: (row.size_bytes, row.full_name) for row in rows}
    found = found_in(session, [one.facts.sha256 for one in joined])
    return [{**_answer(one, *beside[one.facts.id]), "found": found.get(one.facts.sha256, {})} for one in joined]


def _answer(one: JoinedRead, size_bytes: int, made_by_name: str) -> dict[str, Any]:
    facts, found, channel_map = one.facts, one.found, one.channel_map
    fit = None
    if found is not None:
        fit = {
            "offset_s": _rounded(found.offset_s, 6),
            "u_s": _rounded(found.u_s, 6),
            "residual_rpm": _rounded(found.residual_rpm, 3),
            "matched_share": round(found.matched_share, 4),
            "reason": found.reason,
        }
    return {
        "id": facts.id,
        "pull_id": facts.pull_id,
        "sha256": facts.sha256,
        "size_bytes": size_bytes,
        "file_name": facts.file_name,
        "received_at": facts.received_at,
        "made_by_name": made_by_name,
        "reader": one.reader,
        "state": facts.state,
        "reason": facts.unreadable_reason,
        "channel_map_id": channel_map.id if channel_map else None,
        "channel_map_name": channel_map.name if channel_map else None,
        "offset_s": _rounded(one.offset_s if one.offset_s is not None else facts.offset_s, 6),
        "offset_by_hand": facts.offset_s is not None,
        "fit": fit,
        "channels": list(one.gives),
        "failure": one.failure,
        "left_out_reason": facts.left_out_reason,
        "version": facts.version,
    }


def _rounded(value: float | None, decimals: int) -> float | None:
    return None if value is None else round(value, decimals)
