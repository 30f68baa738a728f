"""Text answers leave compressed where that saves time: brotli at its cheapest, else gzip at its cheapest."""

import gzip

import brotli
from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

SMALLEST_BYTES = 1000
TEXT = ("application/json", "application/problem+json", "text/", "image/svg+xml", "application/javascript")


def accepted(header: str) -> set[str]:
    """The encodings an Accept-Encoding header allows; one with q=0 is refused by it."""
    found = set()
    for part in header.lower().split(","):
        name, _, weight = part.partition(";")
        if weight.replace(" ", "") not in ("q=0", "q=0.0", "q=0.00", "q=0.000"):
            found.add(name.strip())
    return found


class Compression:
    """Compresses whole text answers on their way out. An answer in parts, or encoded already, passes as it is."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        taken = accepted(Headers(scope=scope).get("accept-encoding", ""))
        encoding = "br" if "br" in taken else "gzip" if "gzip" in taken else ""
        scope = {**scope, "headers": [_strong_match(*pair) for pair in scope["headers"]]}
        start: Message | None = None

        async def send_compressed(message: Message) -> None:
            nonlocal start
            if message["type"] == "http.response.start" and _may_shrink(message):
                start = message
                return
            if start is not None:
                if message["type"] == "http.response.body" and not message.get("more_body"):
                    message["body"] = _shrink(start, message.get("body", b""), encoding)
                await send(start)
                start = None
            await send(message)

        await self.app(scope, receive, send_compressed)


def _strong_match(name: bytes, value: bytes) -> tuple[bytes, bytes]:
    """Routes compare the tags they gave; a compressed answer carried the weak form of it."""
    return name, (value.replace(b"W/", b"") if name == b"if-none-match" else value)


def _may_shrink(start: Message) -> bool:
    headers = Headers(scope=start)
    return headers.get("content-type", "").startswith(TEXT) and "content-encoding" not in headers


def _shrink(start: Message, body: bytes, encoding: str) -> bytes:
    headers = MutableHeaders(scope=start)
    headers.add_vary_header("Accept-Encoding")
    if not encoding or len(body) < SMALLEST_BYTES:
        return body
    small = brotli.compress(body, quality=1) if encoding == "br" else gzip.compress(body, 1, mtime=0)
    headers["content-encoding"] = encoding
    headers["content-length"] = str(len(small))
    if headers.get("etag", "W/").startswith('"'):
        headers["etag"] = "W/" + headers["etag"]
    return small
