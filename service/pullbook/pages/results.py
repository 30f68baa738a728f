"""The customer's page: one link, nobody signed in, no script, nothing to wait for."""

from dataclasses import replace
from typing import ClassVar

from fastapi import Request
from fastapi.concurrency import run_in_threadpool
from starlette.responses import Response

from pullbook.deps import ReadSession, SettingsDep
from pullbook.late_methods import dataclass
from pullbook.late_routes import LateRouter
from pullbook.pages.chain_foot import chain_foot
from pullbook.pages.render import draw, shop_row
from pullbook.pages.results_built import results_page
from pullbook.pages.results_door import IsOpen, LinkBehind, customer_frame
from pullbook.pages.results_kept import KeptPages, name_of
from pullbook.pages.results_style import customer_headers
from pullbook.pages.told import Shown, told
from pullbook.shop.opening import published_as

router = LateRouter(include_in_schema=False)


@dataclass(frozen=True)
class PinPage(Shown):
    """Asks for the PIN of a link before anything of it is shown, the shop's name included."""

    template: ClassVar[str] = "results/pin.html"
    token: str = told("The link's token, which the form is sent below.")
    said: str = told("What became of the last try: wrong, wait, or empty.")


@router.get("/r/{token}")
async def results(
    request: Request,
    token: str,
    link: LinkBehind,
    open_now: IsOpen,
    session: ReadSession,
    settings: SettingsDep,
    pin: str = "",
) -> Response:
    """What was published under this link. Unknown, ended and revoked are one page that says to ask the shop."""
    if not open_now:
        page = PinPage(token=token, said=pin)
        return draw(customer_frame(request, None), page, headers=customer_headers(forms=True))

    def drawn() -> Response:
        published = published_as(session, link.id, settings.weather_stale_minutes)
        shop = shop_row(session)
        around = customer_frame(request, shop, published)
        shown = replace(results_page(published, shop, around), chain=chain_foot(session, link.id, around))
        return draw(around, shown, headers=customer_headers())

    pages: KeptPages = request.app.state.kept_results
    name = name_of(request, link.id)
    kept = pages.kept(session, name) if request.app.state.database.is_sqlite else None
    if kept is None:
        kept = await run_in_threadpool(pages.drawn, session, name, drawn)
    return kept.answer(request.headers.get("accept-encoding", ""))
