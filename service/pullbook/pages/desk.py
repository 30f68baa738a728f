"""The desk's pages: signing in, the first owner's set-up, the board of any day."""

from datetime import date
from typing import Annotated

from fastapi import Query, Request
from starlette.responses import RedirectResponse, Response

from pullbook.deps import MaybePerson, Now, PagePerson, ReadSession, SettingsDep
from pullbook.late_routes import LateRouter
from pullbook.pages.board import read_board
from pullbook.pages.desk_shown import SetUpPage, SignInPage
from pullbook.pages.render import around_person, draw, frame
from pullbook.pages.time_zones import zone_names

router = LateRouter(include_in_schema=False)


@router.get("/sign-in")
def sign_in(
    request: Request, session: ReadSession, person: MaybePerson, next_page: Annotated[str, Query(alias="next")] = "/"
) -> Response:
    """Name and password; afterwards on to where one wanted to go, as far as that is a page of ours."""
    onward = next_page if is_our_page(next_page) else "/"
    return draw(around_person(request, session, None), SignInPage(onward=onward, already=person is not None))


def is_our_page(path: str) -> bool:
    """Whether a browser that is sent there stays with us. It reads a backslash as a slash and leaves out tabs."""
    return path.startswith("/") and not path.startswith("//") and "\\" not in path and path.isprintable()


@router.get("/set-up/{token}")
def set_up(request: Request, token: str) -> Response:
    """The first owner makes the shop, by the one-time link that the command line prints."""
    return draw(frame(request, None, None), SetUpPage(token=token, time_zones=zone_names()))


@router.get("/")
def board(
    request: Request, session: ReadSession, person: PagePerson, now: Now, day: Annotated[date | None, Query()] = None
) -> Response:
    """Today, or the day that the address names: what is where, what comes when."""
    around = around_person(request, session, person, "today" if day is None else "")
    return draw(around, read_board(session, now, around.time_zone, day))


@router.get("/tickets")
def no_list(settings: SettingsDep) -> Response:
    """The board is the list."""
    return RedirectResponse(f"{settings.public_path}/", 303)
