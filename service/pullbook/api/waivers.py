"""Waivers: the shop's own terms, version by version; the newest is in force, none is ever changed."""

from typing import Annotated, Any

from fastapi import Path, Response
from pydantic import Field
from sqlalchemy import select

from pullbook.api.listing import Cursor, Limit, page
from pullbook.api.shaping import Answer, Asked, Instant, Words
from pullbook.db.arrival import WaiverText
from pullbook.db.tables import Staff
from pullbook.deps import Now, Owner, ReadSession, SignedIn, WriteSession
from pullbook.errors import NotFound
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.shop.accepting import write_waiver

router = LateRouter(prefix="/api/v1/waivers", tags=["waivers"])
VersionId = Annotated[str, Path(description="The version's id.")]
Replaces = Annotated[int, Field(ge=1, description="The number of the version it replaces: the one last read.")]


class NewWaiver(Asked):
    """The text that customers are to accept from now on."""

    body: Annotated[Words, Field(min_length=40, description="The whole text, as customers read it.")]
    replaces: Replaces


class WaiverAnswer(Answer):
    """A version of the text. `made_by_name` is null for the one that came with the service."""

    id: str
    number: int
    body: str
    made_at: Instant
    made_by_name: str | None


class WaiverList(Answer):
    """A page of versions, the one in force first."""

    items: list[WaiverAnswer]
    next: str | None


SELECTED = select(
    WaiverText.id, WaiverText.number, WaiverText.body, WaiverText.made_at, Staff.full_name.label("made_by_name")
).outerjoin(Staff, Staff.id == WaiverText.made_by)


def _one(session: Any, version_id: str) -> dict[str, Any]:
    row = session.execute(SELECTED.where(WaiverText.id == version_id)).one_or_none()
    if row is None:
        raise NotFound(f"There is no version {version_id} of the waiver.")
    return dict(row._mapping)


@router.post("", status_code=201, summary="Write the waiver anew", response_model=WaiverAnswer)
def add(asked: NewWaiver, person: Owner, session: WriteSession, now: Now) -> Response:
    """In force from now on; what was accepted before stays accepted, in the words it had."""
    row = write_waiver(session, now, person.id, asked.body, asked.replaces)
    return Json(_one(session, row.id), 201)


@router.get("", summary="Versions of the waiver", response_model=WaiverList)
def several(person: SignedIn, session: ReadSession, cursor: Cursor = None, limit: Limit = 50) -> Response:
    """The one in force first."""
    rows, following = page(session, SELECTED, [WaiverText.number, WaiverText.id], cursor, limit)
    return Json({"items": [dict(row._mapping) for row in rows], "next": following})


@router.get("/{version_id}", summary="One version of the waiver", response_model=WaiverAnswer)
def get(version_id: VersionId, person: SignedIn, session: ReadSession) -> Response:
    """Word for word as it was accepted, however old."""
    return Json(_one(session, version_id))
