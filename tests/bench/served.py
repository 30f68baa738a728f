"""The service in a process of its own on loopback, a small shop in it, and a client that adds as little as it can."""

import http.client
import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx2

from pullbook.db.connect import connect
from pullbook.db.migrating import migrate
from pullbook.settings import MIGRATIONS
from pullbook.shop.signing_in import invite_first_owner
from tests.bench.typical_pull import calibration_of, run_lasting, typical_file
from tests.furnishing import House, furnish, hire

HOUSE = Path(__file__).resolve().parents[2]
LONGEST_PAUSE_S = 2.0
TAKEN_AT = datetime(2026, 3, 10, 9, 10, tzinfo=UTC)


class Client:
    """One kept-alive connection that sends a cookie."""

    def __init__(self, port: int, cookie: str) -> None:
        self.connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        self.last_asked = time.monotonic()
        self.headers = {"Cookie": cookie, "Origin": f"http://127.0.0.1:{port}"}

    def ask(self, method: str, path: str, body: bytes | None = None, kind: str = "text/csv") -> tuple[int, bytes]:
        """Status and body of the answer."""
        if time.monotonic() - self.last_asked > LONGEST_PAUSE_S:
            self.connection.close()  # the server has, or is about to
        headers = self.headers | ({"Content-Type": kind} if body is not None else {})
        self.connection.request(method, path, body, headers)
        answer = self.connection.getresponse()
        body = answer.read()
        self.last_asked = time.monotonic()
        return answer.status, body

    def get(self, path: str) -> bytes:
        """The body of a 200."""
        status, body = self.ask("GET", path)
        if status != 200:
            raise RuntimeError(f"{path}: {status} {body[:300]!r}")
        return body

    def keep_bare(self, name: str, body: bytes, kind: str = "application/json") -> str:
        """Leave bytes in the bare corner; their path."""
        self.ask("PUT", f"/bare/{name}", body, kind)
        return f"/bare/{name}"


@dataclass
class Served:
    """What runs, and what is in it."""

    port: int
    database_url: str
    client: Client
    house: House
    pull_ids: list[str]

    def address(self, path: str) -> str:
        """The whole address."""
        return f"http://127.0.0.1:{self.port}{path}"

    def file(self, data: bytes, name: str, minutes: float = 0.0, setup: int = 0) -> tuple[int, bytes]:
        """Send a file to the furnished ticket."""
        taken_at = (TAKEN_AT + timedelta(minutes=minutes)).strftime("%Y-%m-%dT%H:%M:%SZ")
        where = f"setup_id={self.house.setup_ids[setup]}&cell_id={self.house.cell_id}"
        path = f"/api/v1/tickets/{self.house.ticket_id}/pulls?{where}&kind=sweep&taken_at={taken_at}&file_name={name}"
        return self.client.ask("POST", path, data)


def free_port() -> int:
    """A port nobody listens on."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


def environment_for(database_url: str, folder: Path, port: int) -> dict[str, str]:
    """The settings of a served process."""
    told = {
        "DATABASE_URL": database_url,
        "DATA_DIR": str(folder),
        "LISTEN_PORT": str(port),
        "PUBLIC_URL": f"http://127.0.0.1:{port}",
        "LOG_LEVEL": "warning",
    }
    return {**os.environ, **{f"PULLBOOK_{name}": value for name, value in told.items()}}


@contextmanager
def served(folder: Path, pulls: int = 20) -> Iterator[Served]:
    """The service on SQLite with a shop, a car and so many typical pulls of it in two setups."""
    database_url, port = f"sqlite:///{folder / 'bench.sqlite3'}", free_port()
    migrate(database_url, MIGRATIONS)
    command = [sys.executable, "-m", "tests.bench.server"]
    process = subprocess.Popen(command, cwd=HOUSE, env=environment_for(database_url, folder, port))
    try:
        wait_for(port)
        house, cookie = furnished(database_url, port)
        running = Served(port, database_url, Client(port, cookie), house, [])
        for number in range(pulls):
            status, body = running.file(typical_file(number), f"run-{number}.csv", 2.0 * number, number % 2)
            if status != 201:
                raise RuntimeError(f"filing: {status} {body!r}")
            running.pull_ids.append(_readable(body))
        _wait_until_warm(folder)
        yield running
    finally:
        process.terminate()
        process.wait(20)


def _wait_until_warm(folder: Path, longest_s: float = 60.0) -> None:
    """Until what is loaded and compressed once behind the first answers is done: it takes a core for seconds."""
    began = time.perf_counter()
    while not list((folder / "prepared-static").glob("*.br")):
        if time.perf_counter() - began > longest_s:
            raise RuntimeError("the chart library was not compressed behind the first answers")
        time.sleep(0.1)


def _readable(body: bytes) -> str:
    answer: dict[str, Any] = httpx2.Response(200, content=body).json()
    if answer["state"] != "readable":
        raise RuntimeError(f"the typical file cannot be read: {answer}")
    return str(answer["id"])


def wait_for(port: int, path: str = "/healthz", longest_s: float = 30.0) -> float:
    """Ask until it answers; how long that took, in seconds."""
    began = time.perf_counter()
    while time.perf_counter() - began < longest_s:
        try:
            connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
            connection.request("GET", path)
            connection.getresponse().read()
            return time.perf_counter() - began
        except OSError:
            time.sleep(0.002)
        finally:
            connection.close()
    raise RuntimeError(f"nothing answers on port {port}")


def furnished(database_url: str, port: int) -> tuple[House, str]:
    """People and a car, through the API; the owner's cookie."""
    records = connect(database_url)
    with records.writing() as session:
        token = invite_first_owner(session, datetime.now(UTC))
    records.close()
    base = f"http://127.0.0.1:{port}"
    with httpx2.Client(base_url=base, headers={"Origin": base}) as client:
        hire(client, token)
        house = furnish(client)
        newer = {**calibration_of(run_lasting(15.0)), "valid_from": "2026-02-02T08:00:00+01:00"}
        client.post(f"/api/v1/cells/{house.cell_id}/calibrations", json=newer).raise_for_status()
        return house, "; ".join(f"{cookie.name}={cookie.value}" for cookie in client.cookies.jar)
