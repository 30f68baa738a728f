"""Nothing is changed on the word of another site: what browsers say of a request's origin is enough to tell."""

from urllib.parse import urlsplit

from starlette.requests import Request
from starlette.types import ASGIApp, Receive, Scope, Send

from pullbook.error_answers import answer
from pullbook.settings import Settings

SAFE = frozenset({"GET", "HEAD", "OPTIONS"})


class SameOrigin:
    """Refuses an unsafe request that another site's page set off.

    `Sec-Fetch-Site` decides where a browser sends it, which it does over TLS and on loopback; else `Origin` does, which
    every browser has sent on such requests for years. What carries neither comes from no page: a program, which
    nobody tricked into sending the cookie.
    """

    def __init__(self, app: ASGIApp, settings: Settings) -> None:
        self.app = app
        parts = urlsplit(settings.public_url)
        self.origin = f"{parts.scheme}://{parts.netloc}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] == "http" and scope["method"] not in SAFE:
            request = Request(scope)
            if not self.is_ours(request):
                refusal = answer(request, 403, "other-origin", "this must come from the service's own pages")
                await refusal(scope, receive, send)
                return
        await self.app(scope, receive, send)

    def is_ours(self, request: Request) -> bool:
        """Whether the request comes from our own pages, or from no page at all."""
        site = request.headers.get("sec-fetch-site")
        if site is not None:
            return site in ("same-origin", "none")
        origin = request.headers.get("origin")
        if origin is not None:
            return origin == self.origin or place_of(origin) == request.headers.get("host")
        return True


def place_of(origin: str) -> str | None:
    """Host and port of an origin; None when it is no address at all."""
    try:
        return urlsplit(origin).netloc or None  # "null" names no place, and must not match an empty Host
    except ValueError:
        return None
