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
from functools import cache, cached_property
from pathlib import Path

import brotli
from starlette.datastructures import Headers
from starlette.exceptions import HTTPException
from starlette.responses import FileResponse, Response
from starlette.types import Receive, Scope, Send

from pullbook.compression import accepted
from pullbook.late_methods import dataclass
from pullbook.settings import HOUSE, Settings

FOR_EVER = "public, max-age=31536000, immutable"
ASK_AGAIN = "no-cache"
_TYPES = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml", ".woff2": "font/woff2"}


@dataclass(frozen=True)
class StaticFile:
    """One file of ours, read once when the service starts."""

    body: bytes
    kind: str
    tag: str


class StaticPart:
    """The ASGI application under `/static`. Only what lay in the folder at the first request is ever served."""

    def __init__(self, settings: Settings, folder: Path = HOUSE / "web" / "static") -> None:
        self.folder = folder.resolve()
        self.prepared = settings.data_dir / "prepared-static"
        self.public_path = settings.public_path

    @cached_property
    def files(self) -> dict[str, StaticFile]:
        """Every file of ours by its path. A link that leads out of the folder is none of ours."""
        found = {}
        for path in sorted(self.folder.rglob("*")):
            if path.is_file() and path.resolve().is_relative_to(self.folder):
                body = path.read_bytes()
                kind = _TYPES.get(path.suffix) or mimetypes.guess_type(path.name)[0] or "application/octet-stream"
                tag = f'"{hashlib.sha256(body).hexdigest()[:16]}"'
                found[path.relative_to(self.folder).as_posix()] = StaticFile(body, kind, tag)
        return found

    @cached_property
    def digest(self) -> str:
        """A digest over every file of ours: one changed letter anywhere is a new address for all."""
        told = "".join(f"{path} {file.tag}\n" for path, file in self.files.items())
        return hashlib.sha256(told.encode()).hexdigest()[:12]

    def asset(self, path: str) -> str:
        """The address of one of our files, to be kept for ever; of `plotly.min.js`, that of the installed library."""
        if path == "plotly.min.js":
            return f"{self.public_path}/static/plotly/{plotly_version()}/plotly.min.js"
        return f"{self.public_path}/static/{self.digest}/{path}"

    def asset_below_r(self, path: str) -> str:
        """The same for a customer's page: all it needs lies below /r/, so that a proxy may let through only that."""
        return f"{self.public_path}/r{self.asset(path).removeprefix(self.public_path)}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["method"] not in ("GET", "HEAD"):
            raise HTTPException(405, headers={"Allow": "GET, HEAD"})
        path: str = scope["path"].removeprefix(scope.get("root_path", "") + "/")
        await self.find(path, Headers(scope=scope))(scope, receive, send)

    def find(self, path: str, headers: Headers) -> Response:
        """The answer for a path below /static."""
        first, _, rest = path.partition("/")
        if first == "plotly":
            return self._plotly(rest, headers)
        keep = first == self.digest
        file = self.files.get(rest if keep else path)
        if file is None:
            raise HTTPException(404)
        kept = {"Cache-Control": FOR_EVER if keep else ASK_AGAIN, "ETag": file.tag}
        if file.tag in headers.get("if-none-match", ""):
            return Response(status_code=304, headers=kept)
        return Response(file.body, headers=kept, media_type=file.kind)

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


@cache
def plotly_version() -> str:
    """The installed version, found without importing the package."""
    return importlib.metadata.version("plotly")


@cache
def plotly_bundle() -> Path | None:
    """The browser bundle inside the installed package, found without importing it."""
    spec = importlib.util.find_spec("plotly")
    for place in (spec.submodule_search_locations or ()) if spec else ():
        file = Path(place) / "package_data" / "plotly.min.js"
        if file.is_file():
            return file
    return None
