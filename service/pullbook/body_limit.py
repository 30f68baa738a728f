"""No body is read that is larger than its route takes: one megabyte, or for a file what the settings say."""

import re

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from pullbook.error_answers import answer, path_within
from pullbook.settings import Settings

USUAL_BYTES = 1_000_000
_UPLOAD = re.compile(
    r"^/api/v1/(tickets/[^/]+/pulls|pulls/[^/]+/joined-files|cells/[^/]+/calibration-evidence|device/pulls)$"
)


class BodyLimit:
    """Refuses by the announced length before a byte is read, and by counting where none is announced."""

    def __init__(self, app: ASGIApp, settings: Settings) -> None:
        self.app = app
        self.upload_bytes = settings.largest_upload_bytes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request = Request(scope)
        is_upload = request.method == "POST" and _UPLOAD.match(path_within(request))
        limit = self.upload_bytes if is_upload else USUAL_BYTES
        detail = f"at most {limit} bytes are taken here"
        announced = request.headers.get("content-length", "")
        if announced.isdigit() and int(announced) > limit:
            problem = {"field": "content-length", "value": int(announced), "would_do": detail}
            # the rest of the body is not going to be read, so the connection is of no more use
            refusal = answer(request, 413, "too-large", detail, [problem], {"Connection": "close"})
            await refusal(scope, receive, send)
            return
        taken = 0

        async def receive_up_to_limit() -> Message:
            nonlocal taken
            message = await receive()
            if message["type"] == "http.request":
                taken += len(message.get("body", b""))
                if taken > limit:
                    raise HTTPException(413, detail, {"Connection": "close"})
            return message

        await self.app(scope, receive_up_to_limit, send)
