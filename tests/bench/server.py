"""`python -m tests.bench.server`: the service as `pullbook serve` runs it, with one bare corner to compare with.

Below /bare/ it keeps the bytes that are PUT there and answers them again before anything of the service is asked: what
the same server, event loop and machine need at the least to answer that many bytes.
"""

from typing import Any

from pullbook import serving
from pullbook.app import create_app
from pullbook.settings import Settings

CORNER = "/bare/"


class Bare:
    """The corner, around the service."""

    def __init__(self, app: Any) -> None:
        self.app, self.kept = app, dict[str, tuple[bytes, bytes]]()

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """One request."""
        if scope["type"] != "http" or not scope["path"].startswith(CORNER):
            await self.app(scope, receive, send)
            return
        body, kind = b"", b"application/octet-stream"
        if scope["method"] == "PUT":
            more = True
            while more:
                message = await receive()
                body, more = body + message.get("body", b""), message.get("more_body", False)
            kind = dict(scope["headers"]).get(b"content-type", kind)
            self.kept[scope["path"]] = (body, kind)
            body = b""
        else:
            body, kind = self.kept[scope["path"]]
        headers = [(b"content-type", kind), (b"content-length", str(len(body)).encode())]
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        await send({"type": "http.response.body", "body": body})


def main() -> None:
    """Serve on the address of the settings."""
    settings = Settings()
    listening = serving.listen(settings.listen_host, settings.listen_port)
    # the server's own options are what is measured, so it is this one function that is changed and nothing else
    serving.create_app = lambda settings, **words: Bare(create_app(settings, **words))  # type: ignore[assignment,return-value]
    serving.serve(settings, listening)


if __name__ == "__main__":
    main()
