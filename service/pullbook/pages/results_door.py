"""The way to a customer's results: the token, the PIN where one is wanted, and what every page behind it is drawn with.

Whatever lies below a link's address (drawings, tables, papers) asks for `CustomerResults`, and is thereby refused alike
where the token leads nowhere or the PIN was not given.
"""

from dataclasses import replace
from typing import Annotated

from fastapi import Depends, Request
from fastapi.concurrency import run_in_threadpool

from pullbook.db.tables import Shop
from pullbook.deps import Now, ReadSession, SettingsDep, client_address, link_cookie_name
from pullbook.errors import NotFound
from pullbook.pages.render import frame
from pullbook.pages.results_built import link_units
from pullbook.pages.results_voice import UNIT_SETS, language_of
from pullbook.pages.told import Frame
from pullbook.shop.opening import ASK, LiveLink, live_link, published_as
from pullbook.shop.publishing import Published
from pullbook.shop.unlocking import is_unlocked


async def link_behind(request: Request, token: str, session: ReadSession, now: Now) -> LiveLink:
    """The live link behind the token of the address. A miss costs its address one try, and says nothing.

    On SQLite looked up where the request stands, as whoever is signed in is; on PostgreSQL in a thread.
    """
    try:
        if request.app.state.database.is_sqlite:
            return live_link(session, token, now)
        return await run_in_threadpool(live_link, session, token, now)
    except NotFound:
        request.app.state.guesses.miss(client_address(request), now)
        raise


LinkBehind = Annotated[LiveLink, Depends(link_behind)]


async def is_open(request: Request, link: LinkBehind, now: Now) -> bool:
    """Whether the link wants no PIN, or this browser gave it a while ago."""
    if link.pin_hash is None:
        return True
    value = request.cookies.get(link_cookie_name(request.app.state.settings), "")
    return is_unlocked(request.app.state.link_key, link.id, link.pin_hash, value, now)


IsOpen = Annotated[bool, Depends(is_open)]


def customer_results(link: LinkBehind, open_now: IsOpen, session: ReadSession, settings: SettingsDep) -> Published:
    """What was published under the address's token. NotFound, always the same, for anybody who may not see it."""
    if not open_now:
        raise NotFound(ASK)
    return published_as(session, link.id, settings.weather_stale_minutes)


CustomerResults = Annotated[Published, Depends(customer_results)]


def customer_frame(request: Request, shop: Shop | None, published: Published | None = None) -> Frame:
    """What stands around a customer's page: nobody signed in, the link's own units, and nothing from outside /r/."""
    around = frame(request, shop, None)
    units = around.units if published is None else link_units(published, shop)
    told = published.link.language if published is not None else ""
    asked = request.query_params
    return replace(
        around,
        asset_of=request.app.state.static.asset_below_r,
        units=UNIT_SETS.get(asked.get("units", ""), units),
        language=language_of(asked.get("lang", ""), told, request.headers.get("accept-language", "")),
    )
