"""The shop's picture for its papers and its customers' pages: /api/v1/shop/logo."""

import hashlib
from typing import Annotated

from fastapi import Depends, Request, Response
from sqlalchemy import delete

from pullbook.api.photos import PICTURE_BODY
from pullbook.api.receiving import Received, receive
from pullbook.api.shaping import Answer
from pullbook.db.people import ShopLogo
from pullbook.deps import DatabaseDep, Now, Owner, SettingsDep, WriteSession
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.shop import auditing
from pullbook.shop.picturing import logo_anew, refuse_other_kinds

router = LateRouter(prefix="/api/v1/shop/logo", tags=["shop"])
LARGEST_BYTES = 1024 * 1024


class LogoAnswer(Answer):
    """The picture as it is kept; it is shown at /r/logo/ and its hash."""

    sha256: str
    width_px: int
    height_px: int


async def received_logo(request: Request, person: Owner, settings: SettingsDep) -> Received:
    """The body, read only for an owner."""
    return await receive(request, settings, refuse_other_kinds, LARGEST_BYTES)


@router.post(
    "",
    status_code=201,
    summary="Set the shop's picture",
    response_model=LogoAnswer,
    responses={415: {"description": "Not a kind of picture that is kept here."}},
    openapi_extra=PICTURE_BODY,
)
def put(
    received: Annotated[Received, Depends(received_logo)], person: Owner, database: DatabaseDep, now: Now
) -> Response:
    """Instead of the one before. It is drawn anew, at most 640 by 240 pixels, and holds nothing but what is seen."""
    png, width_px, height_px = logo_anew(received.data)
    kept = {"sha256": hashlib.sha256(png).hexdigest(), "width_px": width_px, "height_px": height_px}
    with database.writing() as session:
        session.execute(delete(ShopLogo))
        session.add(ShopLogo(id=1, png=png, made_at=now, **kept))
        auditing.note(session, now, person.id, "changed", "shop", "1", None, {"logo": kept["sha256"]})
    return Json(kept, 201)


@router.delete("", status_code=204, summary="Take the shop's picture away", response_class=Response)
def remove(person: Owner, session: WriteSession, now: Now) -> Response:
    """Papers and pages show the name alone again."""
    if session.execute(delete(ShopLogo).returning(ShopLogo.id)).all():
        auditing.note(session, now, person.id, "changed", "shop", "1", None, {"logo": None})
    return Response(status_code=204)
