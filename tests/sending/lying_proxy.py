"""A line between sender and service as bad as any: it cuts, delays, repeats, answers with its own page, and lies."""

import http.client
import random
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

KINDS = ("pass", "cut before", "cut after", "repeat", "page instead", "lie", "bad gateway", "half an answer", "wait")


class LyingProxy:
    """Listens on a port of its own; what it does to each request is drawn from a seeded sequence."""

    def __init__(self, target_port: int, seed: int, share_of_faults: float = 0.6) -> None:
        self.target_port, self.draw, self.share = target_port, random.Random(seed), share_of_faults
        self.done: dict[str, int] = dict.fromkeys(KINDS, 0)
        proxy = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def do_POST(self) -> None:
                proxy.one(self)

            do_GET = do_POST  # noqa: N815  the library wants that name

            def log_message(self, *_: Any) -> None:
                """Nothing is printed."""

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.server.daemon_threads = True
        self.port = self.server.server_address[1]
        self.lock = threading.Lock()
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    def one(self, asked: BaseHTTPRequestHandler) -> None:
        """One request, treated as it was drawn."""
        with self.lock:
            kind = self.draw.choice(KINDS[1:]) if self.draw.random() < self.share else "pass"
            self.done[kind] += 1
        length = int(asked.headers.get("Content-Length", 0))
        asked.close_connection = True
        if kind == "cut before":
            asked.rfile.read(length // 2)
            return
        body = asked.rfile.read(length)
        if kind == "page instead":
            return self._answer(asked, 200, "text/html", b"<html><h1>Welcome to the guest network</h1></html>")
        if kind == "bad gateway":
            return self._answer(asked, 502, "text/html", b"<html>bad gateway</html>")
        if kind == "wait":
            time.sleep(0.05)
        status, headers, told = self._pass_on(asked, body)
        if kind == "repeat":
            status, headers, told = self._pass_on(asked, body)
        if kind == "cut after":
            return None
        if kind == "lie":
            return self._answer(asked, 201, "application/json", b'{"sha256": "' + b"0" * 64 + b'", "size_bytes": 1}')
        if kind == "half an answer":
            asked.send_response(status)
            asked.send_header("Content-Type", headers)
            asked.send_header("Content-Length", str(len(told)))
            asked.end_headers()
            asked.wfile.write(told[: len(told) // 2])
            return None
        return self._answer(asked, status, headers, told)

    def _pass_on(self, asked: BaseHTTPRequestHandler, body: bytes) -> tuple[int, str, bytes]:
        onward = http.client.HTTPConnection("127.0.0.1", self.target_port, timeout=30)
        headers = {name: value for name, value in asked.headers.items() if name.lower() not in ("host", "connection")}
        onward.request(asked.command, asked.path, body or None, {**headers, "Host": f"127.0.0.1:{self.target_port}"})
        answer = onward.getresponse()
        told = answer.read()
        onward.close()
        return answer.status, answer.headers.get("Content-Type", ""), told

    @staticmethod
    def _answer(asked: BaseHTTPRequestHandler, status: int, kind: str, body: bytes) -> None:
        asked.send_response(status)
        asked.send_header("Content-Type", kind)
        asked.send_header("Content-Length", str(len(body)))
        asked.end_headers()
        asked.wfile.write(body)

    def close(self) -> None:
        """Stop listening."""
        self.server.shutdown()
        self.server.server_close()
