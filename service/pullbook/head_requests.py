"""HEAD answered wherever GET is: the same headers without the body, as RFC 9110, 9.3.2 wants it."""

from starlette.types import ASGIApp, Message, Receive, Scope, Send


class HeadAsGet:
    """Asks the application for the whole answer and keeps its body back."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["method"] != "HEAD":
            await self.app(scope, receive, send)
            return

        async def without_body(message: Message) -> None:
            if message["type"] == "http.response.body":
                message = {**message, "body": b""}
            await send(message)

        await self.app({**scope, "method": "GET"}, receive, without_body)
