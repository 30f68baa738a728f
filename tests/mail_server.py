"""A real mail server on loopback: takes mail over SMTP, STARTTLS or TLS, keeps it, and refuses, breaks off, hangs or
drips where a test says so.
"""

import socketserver
import ssl
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from typing import Any


@dataclass
class Mailbox:
    """What came in, and how the server behaves.

    `refuse`: the answer to RCPT TO, in place of taking the mail. `security`, with `context`: as in the settings, and
    it takes no mail in the clear. `stalls_at`: the verb, or "greeting", at which it says nothing any more; `drips`: it
    says a byte now and then instead, until it breaks off after a hundred.
    """

    port: int = 0
    refuse: str = ""
    break_off: bool = False
    security: str = "none"
    context: ssl.SSLContext | None = None
    offers_starttls: bool = True
    stalls_at: str = ""
    drips: bool = False
    privately: list[bool] = field(default_factory=list)  # of each message
    receivers: list[str] = field(default_factory=list)
    messages: list[Any] = field(default_factory=list)


class Talk(socketserver.StreamRequestHandler):
    """One connection of a client."""

    server: "Server"
    request: Any

    def handle(self) -> None:
        """One connection, by RFC 5321 as far as a client of ours goes."""
        box = self.server.box
        if self._stalls("greeting"):
            return
        if box.security == "tls" and not self._go_private():
            return
        self._say("220 mail.example.test ready")
        while line := self.rfile.readline():
            word = line.decode("ascii", "replace").strip()
            verb = word[:4].upper()
            if self._stalls(verb):
                return
            if verb in ("EHLO", "HELO"):
                more = box.security == "starttls" and box.offers_starttls and not self._is_private()
                self._say("250-mail.example.test\r\n250 STARTTLS" if more else "250 mail.example.test")
            elif verb == "STAR":
                self._say("220 go on")
                if not self._go_private():
                    return
            elif verb == "MAIL" and box.security != "none" and not self._is_private():
                self._say("530 not in the clear")
            elif verb == "RCPT" and box.refuse:
                self._say(box.refuse)
            elif verb == "RCPT":
                box.receivers.append(word.partition("<")[2].partition(">")[0])
                self._say("250 ok")
            elif verb == "DATA":
                if box.break_off:
                    return
                self._say("354 go on")
                self._take()
                self._say("250 kept")
            elif verb == "QUIT":
                self._say("221 bye")
                return
            else:
                self._say("250 ok")

    def finish(self) -> None:
        """As for any connection; a private one is not the socket that the server knows of."""
        super().finish()
        if self._is_private():
            self.request.close()

    def _is_private(self) -> bool:
        return isinstance(self.request, ssl.SSLSocket)

    def _go_private(self) -> bool:
        context = self.server.box.context
        assert context is not None
        try:
            self.request = context.wrap_socket(self.request, server_side=True)
        except OSError:
            return False  # the client does not believe us
        self.rfile, self.wfile = self.request.makefile("rb"), self.request.makefile("wb", buffering=0)
        return True

    def _stalls(self, at: str) -> bool:
        """Whether this is where it stalls; comes back when the client has gone, or it has dripped long enough."""
        if self.server.box.stalls_at != at:
            return False
        try:
            for _ in range(100 if self.server.box.drips else 0):
                self.wfile.write(b"2")
                time.sleep(0.1)
            if not self.server.box.drips:
                self.rfile.read()
        except OSError:
            pass
        return True

    def _take(self) -> None:
        self.server.box.privately.append(self._is_private())
        lines = []
        while (line := self.rfile.readline()) not in (b".\r\n", b""):
            lines.append(line[1:] if line.startswith(b"..") else line)
        self.server.box.messages.append(message_from_bytes(b"".join(lines), policy=policy.default))

    def _say(self, line: str) -> None:
        self.wfile.write(line.encode() + b"\r\n")


class Server(socketserver.ThreadingTCPServer):
    """One thread for each connection; what comes in goes into `box`."""

    daemon_threads = True
    allow_reuse_address = True

    def __init__(self, box: Mailbox) -> None:
        super().__init__(("127.0.0.1", 0), Talk)
        self.box = box


@contextmanager
def mail_server(**behaves: Any) -> Iterator[Mailbox]:
    """A server on a free port, answering until the block ends."""
    box = Mailbox(**behaves)
    with Server(box) as server:
        box.port = server.server_address[1]
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True)
        thread.start()
        yield box
        server.shutdown()
        thread.join()
