"""The page of a refusal: what went wrong in words, and the way on."""

from typing import ClassVar

from fastapi import Request
from starlette.responses import Response

from pullbook.error_answers import path_within
from pullbook.late_methods import dataclass
from pullbook.pages.render import draw, frame
from pullbook.pages.results_door import customer_frame
from pullbook.pages.results_style import customer_headers
from pullbook.pages.told import Shown, told


@dataclass(frozen=True)
class RefusalPage(Shown):
    """Something could not be shown."""

    template: ClassVar[str] = "refusal.html"
    status: int = told("The HTTP status.")
    title: str = told("The status in a few words.")
    detail: str = told("What happened and what would do.")


@dataclass(frozen=True)
class LinkRefusalPage(Shown):
    """A customer's link that shows nothing; the same page whatever the reason, so that guessing learns nothing."""

    template: ClassVar[str] = "results/ask_the_shop.html"


def error_page(request: Request, status: int, title: str, detail: str) -> Response:
    """What `error_answers` calls for a refusal that a person will read."""
    if path_within(request).startswith("/r/") and status < 500:
        return draw(customer_frame(request, None), LinkRefusalPage(), status, customer_headers())
    return draw(frame(request, None, None), RefusalPage(status=status, title=title, detail=detail), status)
