"""What a customer's page sends back: that it was looked at, and the PIN of a link that wants one.

Both lie below the link's own address, not below /api/v1, so that a proxy may let through /r/ and nothing else; and the
PIN comes from a plain form, since the page must open without script.
"""

import re
from contextlib import suppress
from typing import Annotated
from urllib.parse import parse_qs

from fastapi import Depends, Request, Response
from starlette.responses import RedirectResponse

from pullbook.deps import DatabaseDep, LinkKeyDep, Now, SettingsDep, client_address, link_cookie_name
from pullbook.errors import NotFound, TooLarge, TooMany
from pullbook.late_routes import LateRouter
from pullbook.shop.opening import ASK, LiveLink, count_opening, live_link
from pullbook.shop.slowing_down import Pace, bucket_name, forgive, take_try, wait_left_s
from pullbook.shop.unlocking import UNLOCKED_FOR, WRONG_ANYWHERE, WRONG_FOR_LINK, is_unlocked, pin_fits, unlocked_value

router = LateRouter(include_in_schema=False)
LARGEST_FORM_BYTES = 2000
COUNTED_LOOKS = Pace(burst=1, seconds_each=300.0)
_NOBODY = re.compile(r"bot\b|crawl|spider|preview|prefetch|headless|facebookexternalhit|slurp", re.IGNORECASE)


async def typed_pin(request: Request) -> str:
    """The field `pin` of a plain form; empty where there is none."""
    body = bytearray()
    async for part in request.stream():
        body += part
        if len(body) > LARGEST_FORM_BYTES:
            raise TooLarge(ASK)
    fields = parse_qs(body.decode("utf-8", "replace"), max_num_fields=20) if body.count(b"&") < 20 else {}
    return fields.get("pin", [""])[0]


@router.post("/r/{token}/pin")
def give_pin(
    request: Request,
    token: str,
    typed: Annotated[str, Depends(typed_pin)],
    database: DatabaseDep,
    key: LinkKeyDep,
    settings: SettingsDep,
    now: Now,
) -> Response:
    """Takes a link's PIN from its form and leads back to the link, which then opens or says what was wrong."""
    link = _link(request, database, token, now)
    here = f"{settings.public_path}/r/{token}"
    if link.pin_hash is None:
        return RedirectResponse(here, 303)
    bucket = bucket_name("pin", link.id)
    try:
        with database.writing() as counting:  # a transaction of its own: the try counts whatever comes of it
            take_try(counting, bucket, WRONG_FOR_LINK, now)
            take_try(counting, bucket_name("pin", ""), WRONG_ANYWHERE, now)
    except TooMany:
        return RedirectResponse(f"{here}?pin=wait", 303)
    if not pin_fits(typed, link.pin_hash):
        return RedirectResponse(f"{here}?pin=wrong", 303)
    with database.writing() as writing:
        forgive(writing, [bucket], now)
    onward = RedirectResponse(here, 303)
    onward.set_cookie(
        link_cookie_name(settings),
        unlocked_value(key, link.id, link.pin_hash, now),
        max_age=int(UNLOCKED_FOR.total_seconds()),
        path=here,
        secure=settings.is_https,
        httponly=True,
        samesite="lax",
    )
    return onward


@router.post("/r/{token}/opened", status_code=204)
def opened(
    request: Request, token: str, database: DatabaseDep, key: LinkKeyDep, settings: SettingsDep, now: Now
) -> Response:
    """Sent by the results page itself once a person sees it: a count and a day. Answers the same whatever the token.

    One look in five minutes is counted of each link, whoever looks: nobody counts it up, and no address is kept.
    """
    with suppress(NotFound, TooMany):
        link = _link(request, database, token, now)
        value = request.cookies.get(link_cookie_name(settings), "")
        seen = link.pin_hash is None or is_unlocked(key, link.id, link.pin_hash, value, now)
        if seen and not _is_program(request):
            _count(database, link.id, now)
    return Response(status_code=204)


def _count(database: DatabaseDep, link_id: str, now: Now) -> None:
    bucket = bucket_name("opened", link_id)
    with database.reading() as looking:  # whoever asks over and over must not queue with those who write
        if wait_left_s(looking, bucket, COUNTED_LOOKS, now) > 0.0:
            return
    with database.writing() as session:
        take_try(session, bucket, COUNTED_LOOKS, now)
        count_opening(session, link_id, now)


def _link(request: Request, database: DatabaseDep, token: str, now: Now) -> LiveLink:
    """The live link; a miss costs its address one try."""
    try:
        with database.reading() as session:
            return live_link(session, token, now)
    except NotFound:
        request.app.state.guesses.miss(client_address(request), now)
        raise


def _is_program(request: Request) -> bool:
    """Whether nobody is looking: a page fetched ahead, or a program that says what it is."""
    purposes = [request.headers.get(name, "") for name in ("sec-purpose", "purpose", "x-moz")]
    return any("prefetch" in one or "preview" in one for one in purposes) or bool(
        _NOBODY.search(request.headers.get("user-agent", ""))
    )
