"""The shop's picture, where customers' pages may fetch it: below /r/ like all that is theirs."""

from sqlalchemy import select
from starlette.responses import Response

from pullbook.db.people import ShopLogo
from pullbook.deps import ReadSession
from pullbook.errors import NotFound
from pullbook.late_routes import LateRouter

router = LateRouter(include_in_schema=False)


@router.get("/r/logo/{sha256}")
def logo(sha256: str, session: ReadSession) -> Response:
    """By its hash, so that it may be kept for good; another hash is not there."""
    png = session.execute(select(ShopLogo.png).where(ShopLogo.sha256 == sha256)).scalar_one_or_none()
    if png is None:
        raise NotFound("There is no such picture.")
    return Response(png, media_type="image/png", headers={"Cache-Control": "public, max-age=31536000, immutable"})
