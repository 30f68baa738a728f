"""A real mail server on loopback: takes mail over SMTP, keeps it, and refuses or breaks off where a test says so."""

import socketserver
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from typing import Any


@dataclass
class Mailbox:
    """What came in, and how the server behaves. `refuse`: the answer to RCPT TO, in place of taking the mail."""

    port: int = 0
    refuse: str = ""
    break_off: bool = False
    receivers: list[str] = field(default_factory=list)
    messages: list[Any] = field(default_factory=list)


class Talk(socketserver.StreamRequestHandler):
    """One connection of a client."""

    server: "Server"

    def handle(self) -> None:
        """One connection, by RFC 5321 as far as a client of ours goes."""
        box = self.server.box
        self._say("220 mail.example.test ready")
        while line := self.rfile.readline():
            word = line.decode("ascii", "replace").strip()
            verb = word[:4].upper()
            if verb in ("EHLO", "HELO"):
                self._say("250 mail.example.test")
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

    def _take(self) -> None:
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
def mail_server() -> Iterator[Mailbox]:
    """A server on a free port, answering until the block ends."""
    box = Mailbox()
    with Server(box) as server:
        box.port = server.server_address[1]
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True)
        thread.start()
        yield box
        server.shutdown()
        thread.join()
