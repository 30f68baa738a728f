"""The files that never change while the service runs: our own under a digest in their address, and the chart library.

An address with the digest in it may be kept for ever; modules that import each other by relative path inherit it.
"""

import gzip
import hashlib
import importlib.metadata
import importlib.util
import mimetypes
import os
import tempfile
from functools import cached_property
from pathlib import Path

import brotli
from starlette.datastructures import Headers
from starlette.exceptions import HTTPException
from starlette.responses import FileResponse, Response
from starlette.types import Receive, Scope, Send

from pullbook.compression import accepted
from pullbook.settings import HOUSE, Settings

FOR_EVER = "public, max-age=31536000, immutable"
ASK_AGAIN = "no-cache"
_TYPES = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml", ".woff2": "font/woff2"}


class StaticPart:
    """The ASGI application under `/static`."""

    def __init__(self, settings: Settings, folder: Path = HOUSE / "web" / "static") -> None:
        self.folder = folder.resolve()
        self.prepared = settings.data_dir / "prepared-static"
        self.public_path = settings.public_path

    @cached_property
    def digest(self) -> str:
        """A digest over every file of ours: one changed letter anywhere is a new address for all."""
        total = hashlib.sha256()
        for path in sorted(self.folder.rglob("*")):
            if path.is_file():
                total.update(path.relative_to(self.folder).as_posix().encode() + b"\0" + path.read_bytes() + b"\0")
        return total.hexdigest()[:12]

    def asset(self, path: str) -> str:
        """The address of one of our files, to be kept for ever; of `plotly.min.js`, that of the installed library."""
        if path == "plotly.min.js":
            return f"{self.public_path}/static/plotly/{plotly_version()}/plotly.min.js"
        return f"{self.public_path}/static/{self.digest}/{path}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["method"] not in ("GET", "HEAD"):
            raise HTTPException(405, headers={"Allow": "GET, HEAD"})
        headers = Headers(scope=scope)
        path = scope["path"].removeprefix(scope.get("root_path", "")).lstrip("/")
        await self.find(path, headers)(scope, receive, send)

    def find(self, path: str, headers: Headers) -> Response:
        """The answer for a path below /static."""
        first, _, rest = path.partition("/")
        if first == "plotly":
            return self._plotly(rest, headers)
        keep = first == self.digest
        file = (self.folder / (rest if keep else path)).resolve()
        if not file.is_relative_to(self.folder) or not file.is_file():
            raise HTTPException(404)
        kind = _TYPES.get(file.suffix) or mimetypes.guess_type(file.name)[0] or "application/octet-stream"
        kept = {"Cache-Control": FOR_EVER if keep else ASK_AGAIN}
        if not kind.startswith("text/") and file.suffix != ".svg":
            return FileResponse(file, headers=kept, media_type=kind)
        tag = f'"{hashlib.sha256(body := file.read_bytes()).hexdigest()[:16]}"'
        if tag in headers.get("if-none-match", ""):
            return Response(status_code=304, headers={**kept, "ETag": tag})
        return Response(body, headers={**kept, "ETag": tag}, media_type=kind)

    def _plotly(self, path: str, headers: Headers) -> Response:
        source = plotly_bundle()
        if source is None or path != f"{plotly_version()}/plotly.min.js":
            raise HTTPException(404)
        kept = {"Cache-Control": FOR_EVER, "Vary": "Accept-Encoding"}
        takes = accepted(headers.get("accept-encoding", ""))
        for encoding, ending in (("br", "br"), ("gzip", "gz")):
            file = self._prepared(ending)
            if encoding in takes and file.is_file():
                kept["Content-Encoding"] = encoding
                return FileResponse(file, headers=kept, media_type="text/javascript")
        if "gzip" in takes:
            kept["Content-Encoding"] = "gzip"
            return FileResponse(self.prepare("gz"), headers=kept, media_type="text/javascript")
        return FileResponse(source, headers={**kept, "Content-Encoding": "identity"}, media_type="text/javascript")

    def _prepared(self, ending: str) -> Path:
        return self.prepared / f"plotly-{plotly_version()}.min.js.{ending}"

    def prepare(self, ending: str) -> Path:
        """The chart library, compressed as far as it goes, once; made whole under another name, then put in place."""
        target, source = self._prepared(ending), plotly_bundle()
        if target.is_file() or source is None:
            return target
        raw = source.read_bytes()
        small = brotli.compress(raw, quality=11) if ending == "br" else gzip.compress(raw, 9, mtime=0)
        self.prepared.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=self.prepared)
        with os.fdopen(handle, "wb") as file:
            file.write(small)
        Path(name).replace(target)
        return target


def plotly_version() -> str:
    """The installed version, found without importing the package."""
    return importlib.metadata.version("plotly")


def plotly_bundle() -> Path | None:
    """The browser bundle inside the installed package, found without importing it."""
    spec = importlib.util.find_spec("plotly")
    for place in (spec.submodule_search_locations or ()) if spec else ():
        file = Path(place) / "package_data" / "plotly.min.js"
        if file.is_file():
            return file
    return None
