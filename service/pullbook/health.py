"""Is it alive, and is it ready: /healthz asks nobody, /readyz asks the database and the disk."""

import shutil

from fastapi import Request
from starlette.responses import PlainTextResponse, Response

from pullbook.db.connect import sqlite_doubt
from pullbook.db.schema_state import schema_state
from pullbook.deps import DatabaseDep, SettingsDep
from pullbook.error_answers import answer
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.settings import MIGRATIONS, Settings

router = LateRouter(tags=["health"])
LEAST_FREE_BYTES = 256 * 1024 * 1024


@router.get("/healthz", include_in_schema=False)
async def alive() -> PlainTextResponse:
    """The process answers."""
    return PlainTextResponse("alive\n")


@router.get("/readyz", include_in_schema=False)
def ready(request: Request, database: DatabaseDep, settings: SettingsDep) -> Response:
    """The records can be written, their schema is this version's, and there is room."""
    request.app.state.late_api.load()
    state = schema_state(database.reader, MIGRATIONS)
    if not state.is_current:
        return answer(request, 503, "not-ready", state.words)
    database.prove_writable()
    free_bytes = free_space_bytes(settings)
    if free_bytes < LEAST_FREE_BYTES:
        return answer(request, 503, "not-ready", f"only {free_bytes} bytes of disk are left")
    doubt = doubt_of(database.is_sqlite)
    return Json({"ready": True, "schema": state.current, "free_bytes": free_bytes, "doubt": doubt})


def doubt_of(is_sqlite: bool) -> str | None:
    """What is doubtful about the database in use, in words."""
    return sqlite_doubt() if is_sqlite else None


def free_space_bytes(settings: Settings) -> int:
    """Room left where the service keeps its files."""
    place = settings.data_dir
    return shutil.disk_usage(place if place.is_dir() else ".").free
