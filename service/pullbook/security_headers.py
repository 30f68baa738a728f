"""What every answer tells the browser to refuse: other people's scripts, frames, guesses at types, referrers."""

from starlette.datastructures import MutableHeaders
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from pullbook.error_answers import path_within
from pullbook.settings import Settings

CONTENT_POLICY = "; ".join(
    (
        "default-src 'self'",
        "img-src 'self' data: blob:",  # a chart saved as a picture passes through both
        "object-src 'none'",
        "base-uri 'none'",
        "form-action 'self'",
        "frame-ancestors 'none'",
    )
)
HEADERS = {
    "content-security-policy": CONTENT_POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
    "cache-control": "no-store",
}


class SecurityHeaders:
    """Adds each header that a route has not set for itself."""

    def __init__(self, app: ASGIApp, settings: Settings) -> None:
        self.app = app
        self.headers = dict(HEADERS)
        if settings.is_https:
            self.headers["strict-transport-security"] = "max-age=31536000"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        is_public = path_within(Request(scope)).startswith("/r/")

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in self.headers.items():
                    headers.setdefault(name, value)
                if is_public:
                    headers["x-robots-tag"] = "noindex, nofollow"
            await send(message)

        await self.app(scope, receive, send_with_headers)
