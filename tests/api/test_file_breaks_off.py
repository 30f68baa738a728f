"""A sender that vanishes half way: nothing of its file is kept, and the next try is clean."""

import asyncio
from typing import Any

from sqlalchemy import func, select

from pullbook.db.evidence import Pull, RawFile
from tests.api.pull_files import Steady, send_pull, where

DATA = Steady().csv()


def _count(app: Any, table: Any) -> int:
    with app.state.database.reading() as session:
        return session.execute(select(func.count()).select_from(table)).scalar_one()


def _send_half(app: Any, client: Any, house: Any) -> list[dict[str, Any]]:
    """Speak to the app as a server does whose connection breaks after half of the body."""
    request = client.build_request("POST", f"/api/v1/tickets/{house.ticket_id}/pulls", params=where(house))
    messages = [
        {"type": "http.request", "body": DATA[: len(DATA) // 2], "more_body": True},
        {"type": "http.disconnect"},
    ]
    headers = [(name.lower(), value) for name, value in request.headers.raw if name.lower() != b"content-length"]
    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": "POST",
        "scheme": "http",
        "path": request.url.path,
        "raw_path": request.url.path.encode(),
        "query_string": request.url.query,
        "root_path": "",
        "headers": [*headers, (b"content-length", str(len(DATA)).encode())],
        "client": ("127.0.0.1", 50000),
        "server": (request.url.host, 80),
        "state": {},
    }
    sent: list[dict[str, Any]] = []

    async def receive() -> dict[str, Any]:
        return messages.pop(0) if messages else {"type": "http.disconnect"}

    async def send(message: dict[str, Any]) -> None:
        sent.append(message)

    asyncio.run(app(scope, receive, send))
    return sent


def test_half_a_file_is_not_kept_and_the_whole_one_is_taken_next(tuner: Any, house: Any, app: Any) -> None:
    sent = _send_half(app, tuner, house)
    assert sent[0]["status"] == 422
    assert b"broke off" in sent[1]["body"]
    assert (_count(app, RawFile), _count(app, Pull)) == (0, 0)
    assert send_pull(tuner, house, DATA).status_code == 201
    assert (_count(app, RawFile), _count(app, Pull)) == (1, 1)
