"""The one public address: which path the service lies under, and which host names it answers to."""

from urllib.parse import urlsplit

from starlette.requests import Request
from starlette.types import ASGIApp, Receive, Scope, Send

from pullbook.error_answers import answer, path_within
from pullbook.settings import LOOPBACK, Settings

HEALTH = ("/healthz", "/readyz")


class PublicPath:
    """Routing sees one form of path, whether the proxy in front keeps the public path or strips it."""

    def __init__(self, app: ASGIApp, settings: Settings) -> None:
        self.app = app
        self.prefix = settings.public_path

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if self.prefix and scope["type"] == "http":
            path: str = scope["path"]
            if path != self.prefix and not path.startswith(self.prefix + "/"):
                path = self.prefix + path
            scope = {**scope, "path": path, "root_path": self.prefix}
        await self.app(scope, receive, send)


class KnownHost:
    """Refuses a Host header that is not the public one, so that no link is ever built for somebody else's name."""

    def __init__(self, app: ASGIApp, settings: Settings) -> None:
        self.app = app
        self.known = {settings.public_host}
        if settings.public_host in LOOPBACK:
            self.known |= LOOPBACK

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request = Request(scope)
        told = request.headers.getlist("host")
        host = host_name(told[0]) if len(told) == 1 else ""  # of two, whoever stands before us may have read the other
        if host in self.known or (host in LOOPBACK and path_within(request) in HEALTH):
            await self.app(scope, receive, send)
            return
        refusal = answer(request, 400, "unknown-host", "this service does not answer to that host name")
        await refusal(scope, receive, send)


def host_name(host_header: str) -> str:
    """The name in a Host header, in lower case and without its port; empty when it cannot be read."""
    try:
        parts = urlsplit(f"//{host_header}")
        return (parts.hostname or "") if parts.port is None or parts.port else ""  # asking for a port reads it
    except ValueError:
        return ""
