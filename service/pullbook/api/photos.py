"""Photos of a car as it came: the file is the body, and only what can be seen on it is kept."""

from typing import Annotated, Any, NamedTuple

from fastapi import Depends, Path, Query, Request, Response
from sqlalchemy import select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session, aliased

from pullbook.api.listing import Cursor, Limit, page
from pullbook.api.pull_shapes import SetAside
from pullbook.api.receiving import Received, receive
from pullbook.api.shaping import Answer, Instant, Line
from pullbook.db.arrival import Picture, TicketPhoto
from pullbook.db.tables import Staff
from pullbook.deps import DatabaseDep, Desk, Now, ReadSession, SettingsDep, SignedIn, WriteSession
from pullbook.errors import Clash, NotFound
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.shop.picturing import (
    drawn_anew,
    keep_photo,
    refuse_other_kinds,
    refuse_unknown_ticket,
    set_photo_aside,
)

router = LateRouter(prefix="/api/v1", tags=["photos"])
TicketId = Annotated[str, Path(description="The ticket's id.")]
PhotoId = Annotated[str, Path(description="The photo's id.")]
LARGEST_BYTES = 32 * 1024 * 1024
KINDS = ("image/jpeg", "image/png", "image/webp")
PICTURE_BODY: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "description": "The picture itself, as it is.",
        "content": {kind: {"schema": {"type": "string", "format": "binary"}} for kind in KINDS},
    }
}
PICTURE_ANSWER: dict[int | str, dict[str, Any]] = {
    200: {
        "content": {"image/jpeg": {"schema": {"type": "string", "format": "binary"}}},
        "description": "The picture as it is kept.",
    }
}


class PhotoAnswer(Answer):
    """A photo. `sha256` is of the picture as it is kept, `sent_sha256` of the file that was sent."""

    id: str
    ticket_id: str
    sha256: str
    sent_sha256: str
    file_name: str
    caption: str
    width_px: int
    height_px: int
    made_at: Instant
    made_by_name: str
    set_aside_at: Instant | None
    set_aside_by_name: str | None
    set_aside_reason: str | None
    version: int


class PhotoList(Answer):
    """A page of photos, newest first."""

    items: list[PhotoAnswer]
    next: str | None


_SETTER = aliased(Staff)
_JOINED = {
    "width_px": Picture.width_px,
    "height_px": Picture.height_px,
    "made_by_name": Staff.full_name,
    "set_aside_by_name": _SETTER.full_name,
}
SELECTED = (
    select(
        *(getattr(TicketPhoto, name) for name in PhotoAnswer.model_fields if name not in _JOINED),
        *(column.label(name) for name, column in _JOINED.items()),
    )
    .join(Picture, Picture.sha256 == TicketPhoto.sha256)
    .join(Staff, Staff.id == TicketPhoto.made_by)
    .outerjoin(_SETTER, _SETTER.id == TicketPhoto.set_aside_by)
)


class PhotoWanted(NamedTuple):
    """What is said of a photo beside its bytes."""

    ticket_id: str
    file_name: str
    caption: str


def photo_wanted(
    ticket_id: TicketId,
    person: Desk,
    session: ReadSession,
    file_name: Annotated[str, Query(min_length=1, max_length=1000, description="What the file is called.")],
    caption: Annotated[Line, Query(description="What is to be seen on it.")] = "",
) -> PhotoWanted:
    """Where the photo belongs, checked before a byte of it is read."""
    refuse_unknown_ticket(session, ticket_id)
    session.rollback()  # a slow upload must not hold a connection and its view of the records
    return PhotoWanted(ticket_id, file_name, caption.strip())


Wanted = Annotated[PhotoWanted, Depends(photo_wanted)]


async def received_picture(request: Request, wanted: Wanted, settings: SettingsDep) -> Received:
    """The body, read only once it is known where it belongs."""
    return await receive(request, settings, refuse_other_kinds, LARGEST_BYTES)


def _one(session: Session, photo_id: str) -> dict[str, Any]:
    row = session.execute(SELECTED.where(TicketPhoto.id == photo_id)).one_or_none()
    if row is None:
        raise NotFound(f"There is no photo {photo_id}.")
    return dict(row._mapping)


@router.post(
    "/tickets/{ticket_id}/photos",
    status_code=201,
    summary="Add a photo",
    response_model=PhotoAnswer,
    responses={
        200: {"model": PhotoAnswer, "description": "This very picture is on this ticket already: the same answer."},
        413: {"description": "More bytes than are taken."},
        415: {"description": "Not a kind of picture that is kept here."},
    },
    openapi_extra=PICTURE_BODY,
)
def add(
    wanted: Wanted,
    received: Annotated[Received, Depends(received_picture)],
    person: Desk,
    database: DatabaseDep,
    now: Now,
) -> Response:
    """Drawn anew: upright, no larger than a screen needs, without place, time, camera or anything else hidden in it."""
    drawn = drawn_anew(received.data)
    sent = (received.sha256, wanted.file_name, wanted.caption)
    try:
        with database.writing() as session:
            photo_id, made = keep_photo(session, now, person.id, wanted.ticket_id, drawn, *sent)
    except IntegrityError as error:  # the very same picture came on another ticket in the same moment
        raise Clash("The same picture is being kept just now; send it again.") from error
    with database.reading() as session:
        return Json(_one(session, photo_id), 201 if made else 200)


@router.get("/tickets/{ticket_id}/photos", summary="A ticket's photos", response_model=PhotoList)
def several(
    ticket_id: TicketId, person: SignedIn, session: ReadSession, cursor: Cursor = None, limit: Limit = 50
) -> Response:
    """Newest first, those set aside too, marked."""
    refuse_unknown_ticket(session, ticket_id)
    statement = SELECTED.where(TicketPhoto.ticket_id == ticket_id)
    rows, following = page(session, statement, [TicketPhoto.id], cursor, limit)
    return Json({"items": [dict(row._mapping) for row in rows], "next": following})


@router.get("/photos/{photo_id}", summary="What is said of a photo", response_model=PhotoAnswer)
def get(photo_id: PhotoId, person: SignedIn, session: ReadSession) -> Response:
    """As it is on record now."""
    return Json(_one(session, photo_id))


@router.get("/photos/{photo_id}/picture", summary="A photo", response_class=Response, responses=PICTURE_ANSWER)
def picture(photo_id: PhotoId, person: SignedIn, session: ReadSession) -> Response:
    """As large as it is kept."""
    return _drawn(session, photo_id, Picture.jpeg)


@router.get("/photos/{photo_id}/thumbnail", summary="A photo, small", response_class=Response, responses=PICTURE_ANSWER)
def thumbnail(photo_id: PhotoId, person: SignedIn, session: ReadSession) -> Response:
    """Small enough for a strip of many."""
    return _drawn(session, photo_id, Picture.thumbnail)


def _drawn(session: Session, photo_id: str, column: Any) -> Response:
    asked = select(column, TicketPhoto.sha256).join(TicketPhoto, TicketPhoto.sha256 == Picture.sha256)
    row = session.execute(asked.where(TicketPhoto.id == photo_id)).one_or_none()
    if row is None:
        raise NotFound(f"There is no photo {photo_id}.")
    headers = {"Cache-Control": "private, max-age=3600", "Content-Disposition": f'inline; filename="{photo_id}.jpg"'}
    return Response(row[0], headers=headers, media_type="image/jpeg")


@router.post("/photos/{photo_id}/set-aside", status_code=201, summary="Set a photo aside", response_model=PhotoAnswer)
def set_aside(photo_id: PhotoId, asked: SetAside, person: Desk, session: WriteSession, now: Now) -> Response:
    """It stays on record with the reason, and no longer stands among the car's photos."""
    set_photo_aside(session, now, person.id, photo_id, asked.reason)
    return Json(_one(session, photo_id), 201)


@router.delete("/photos/{photo_id}/set-aside", summary="Take a photo back in", response_model=PhotoAnswer)
def take_back(photo_id: PhotoId, person: Desk, session: WriteSession, now: Now) -> Response:
    """That it was set aside, and why, stays in the audit trail."""
    set_photo_aside(session, now, person.id, photo_id, None)
    return Json(_one(session, photo_id))
