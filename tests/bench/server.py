"""`python -m tests.bench.server`: the service as `pullbook serve` runs it, with one bare corner to compare with.

Below /bare/ it keeps the bytes that are PUT there and answers them again before anything of the service is asked: what
the same server, event loop and machine need at the least to answer that many bytes. PUT /bare/cold forgets all that
this process and this machine hold of the database in memory, with the word `pages` finished pages too; GET
/bare/select answers a page of the kept size made by a template, after one connection and a SELECT of a link and the
blocks of the pulls it shows.
"""

import json
import os
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import jinja2
from fastapi.concurrency import run_in_threadpool

from pullbook import serving
from pullbook.app import create_app
from pullbook.pages import KeptChecks, KeptPages
from pullbook.settings import Settings

CORNER = "/bare/"
COLD, SELECT = f"{CORNER}cold", f"{CORNER}select"
_LINK = "SELECT id, note, pull_ids, published, made_at, ends_at FROM results_link ORDER BY id DESC LIMIT 1"
_BLOCKS = (
    "SELECT pull.id, pull.taken_at, column_block.block FROM pull JOIN column_block USING (sha256) "
    "WHERE pull.id IN (SELECT value FROM json_each(?))"
)
_PAGE = jinja2.Environment(autoescape=True).from_string(
    "<!doctype html><title>{{ note }}</title>{% for line in lines %}<p>{{ line }}</p>\n{% endfor %}"
)


class Bare:
    """The corner, around the service."""

    def __init__(self, app: Any) -> None:
        self.app, self.kept = app, dict[str, tuple[bytes, bytes]]()

    def make_cold(self, *, pages: bool) -> None:
        """Close every connection, have the machine drop the file from its memory, and forget finished pages or not."""
        state = self.app.state
        if pages:
            state.kept_results, state.kept_checks = KeptPages(), KeptChecks()
        state.database.close()
        for name in (path := Path(state.database.url.database), path.with_name(f"{path.name}-wal")):
            if name.exists():
                with name.open("rb") as file:
                    os.fsync(file.fileno())
                    os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)

    def selected(self) -> bytes:
        """The page of a bare SELECT and a template, as long as what was kept under `results.html`."""
        size = len(self.kept[f"{CORNER}results.html"][0])
        with closing(sqlite3.connect(self.app.state.database.url.database)) as records:
            link = records.execute(_LINK).fetchone()
            pulls = records.execute(_BLOCKS, (json.dumps(json.loads(link[2])),)).fetchall()
        lines = [f"{pull_id} {taken_at} {len(block)}" for pull_id, taken_at, block in pulls]
        lines += ["Forty-two kilowatts at the wheels and nothing else to say."] * (size // 66)
        return _PAGE.render(note=link[1], lines=lines).encode()

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
            if scope["path"] == COLD:
                await run_in_threadpool(self.make_cold, pages=body == b"pages")
            else:
                kind = dict(scope["headers"]).get(b"content-type", kind)
                self.kept[scope["path"]] = (body, kind)
            body = b""
        elif scope["path"] == SELECT:
            body, kind = await run_in_threadpool(self.selected), b"text/html"
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
