"""Answering browsers: the socket, the server on it, and what that server must have."""

import gc
import importlib.util
import socket

from pullbook.app import create_app
from pullbook.bounded_heads import bounded_protocol
from pullbook.request_log import set_up_logging
from pullbook.settings import Settings

LONGEST_IDLE_S = 20
MOST_AT_ONCE = 400


class PortTakenError(OSError):
    """The address cannot be listened on; the message says which and why."""


def listen(host: str, port: int) -> socket.socket:
    """A listening socket. Its protocol is named: asyncio sends small answers at once only where it is."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listening = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((host, port))
        listening.listen(1024)
    except OSError as error:
        listening.close()
        raise PortTakenError(
            f"cannot listen on {host} port {port}: {error.strerror}. "
            "Stop what is there, or choose another port with PULLBOOK_LISTEN_PORT"
        ) from error
    return listening


def serve(settings: Settings, listening: socket.socket) -> None:
    """Serve on a listening socket until told to stop."""
    import uvicorn  # noqa: PLC0415  only this command needs it

    has_uvloop = importlib.util.find_spec("uvloop") is not None
    set_up_logging(settings.log_level)
    config = uvicorn.Config(
        create_app(settings, warm_up=True),
        loop="uvloop" if has_uvloop else "asyncio",
        http=bounded_protocol(),
        ws="none",
        log_config=None,
        access_log=False,
        server_header=False,
        proxy_headers=True,
        forwarded_allow_ips=settings.trusted_proxies,
        limit_concurrency=MOST_AT_ONCE,
        timeout_keep_alive=LONGEST_IDLE_S,
        timeout_graceful_shutdown=10,
    )
    gc.freeze()  # what is loaded stays; looking through it again and again would only cost
    gc.enable()
    uvicorn.Server(config).run(sockets=[listening])
