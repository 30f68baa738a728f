"""One JSON line of log for each request, under an id that the answer carries too. Tokens of links are masked."""

import logging
import re
import secrets
import sys
import time
from datetime import UTC, datetime
from typing import Any

from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from pullbook.error_answers import unexpected
from pullbook.json_answers import to_json

log = logging.getLogger("pullbook.requests")
_TOKEN_IN_PATH = re.compile(r"(/(?:r|set-up)/+)(?!static/)[^/\s?\"']+", re.IGNORECASE)
_TOKEN_IN_QUERY = re.compile(r"((?:^|[?&])token=)[^&\s\"']+")
# 256 bits as they are written here, wherever somebody mistyped the way to them; hashes and names have not all of these
_LIKE_A_TOKEN = re.compile(r"(?<![\w-])(?=[\w-]*[A-Z])(?=[\w-]*[a-z])(?=[\w-]*\d)[\w-]{40,}", re.ASCII)


def mask(text: str) -> str:
    """The text without the tokens that open results links and set-up pages."""
    return _LIKE_A_TOKEN.sub("…", _TOKEN_IN_QUERY.sub(r"\1…", _TOKEN_IN_PATH.sub(r"\1…", text)))


class JsonLines(logging.Formatter):
    """A record as one line of JSON: nothing that was typed can forge a second line."""

    def format(self, record: logging.LogRecord) -> str:
        """The line."""
        line: dict[str, Any] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "log": record.name,
            "text": mask(record.getMessage()),
        }
        line.update(getattr(record, "request", {}))
        if record.exc_info:
            line["trace"] = mask(self.formatException(record.exc_info))
        return to_json(line, default=str).decode()


def set_up_logging(level: str) -> None:
    """JSON lines to standard error, for this service and the server under it."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(JsonLines())
    logging.basicConfig(level=level.upper(), handlers=[handler], force=True)
    for name in ("uvicorn", "uvicorn.error", "uvicorn.access"):
        logging.getLogger(name).handlers = []
        logging.getLogger(name).propagate = True
    logging.getLogger("uvicorn.access").disabled = True
    logging.getLogger("numexpr").setLevel(logging.WARNING)  # says how many threads it takes, which nobody asked


class RequestLog:
    """Gives each request its id, logs how it went, and answers what nobody else caught."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        scope["request_id"] = request_id = secrets.token_hex(8)
        scope["noted"] = {}  # what is inside works on copies of the scope, but on this very dict
        began, status = time.perf_counter(), 0

        async def send_with_id(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                message["headers"] = [*message.get("headers", []), (b"x-request-id", request_id.encode())]
            await send(message)

        try:
            await self.app(scope, receive, send_with_id)
        except Exception:
            log.exception("unexpected", extra={"request": {"request_id": request_id}})
            if status:
                raise  # the answer has begun; cutting it short is all that is left
            await unexpected(Request(scope))(scope, receive, send_with_id)
        finally:
            self._tell(scope, status, time.perf_counter() - began)

    def _tell(self, scope: Scope, status: int, took_s: float) -> None:
        told = {
            "request_id": scope["request_id"],
            "method": scope["method"],
            "path": mask(scope["path"]),
            "status": status,
            "took_ms": round(took_s * 1000, 2),
            "client": (scope.get("client") or ("",))[0],
            "staff_id": scope["noted"].get("staff_id"),
        }
        level = logging.ERROR if status >= 500 else logging.WARNING if status in (401, 403, 429) else logging.INFO
        log.log(level, "%s %s", scope["method"], mask(scope["path"]), extra={"request": told})
