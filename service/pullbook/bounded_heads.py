"""How much a connection may send beside the bodies that are counted elsewhere: the head of a request, its trailers."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

MOST_BYTES = 65_536  # a whole page of 60 chosen pulls is an address of 2 kB


def bounded_protocol() -> "type[HttpToolsProtocol]":
    """The server's protocol, closing a connection on which more than that comes and is still no whole head.

    The parser gathers a head until it is whole, and by itself sets no end to it: 100 MB were taken from anybody.
    """
    from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol  # noqa: PLC0415  only serving needs it

    class BoundedHeads(HttpToolsProtocol):
        came_since = 0  # bytes since the last whole head, piece of a body, or whole request

        def data_received(self, data: bytes) -> None:
            """Count, have it parsed – which may count from zero again – and look."""
            self.came_since += len(data)
            super().data_received(data)
            if self.came_since > MOST_BYTES and not self.transport.is_closing():
                self.send_400_response(f"a head of more than {MOST_BYTES} bytes is not read")

        def on_headers_complete(self) -> None:
            """The head is whole."""
            self.came_since = 0
            super().on_headers_complete()

        def on_body(self, body: bytes) -> None:
            """A piece of a body, which is counted by the part that takes it."""
            self.came_since = 0
            super().on_body(body)

        def on_message_complete(self) -> None:
            """The request is whole; another may follow."""
            self.came_since = 0
            super().on_message_complete()

    return BoundedHeads
