"""Ticket numbers under several workers: `python -m tests.studies.ticket_numbers [tickets] [workers]`.

So many processes of the service on one PostgreSQL, each asked over HTTP by several people at once to open tickets; some
of the requests are refused on the way, since a refusal must not leave a gap. Wanted: the numbers on record are unique
and without a gap, and each answer's number is the record's. It prints how long it took, and how many a second.
"""

import os
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

import httpx2
import psycopg

from pullbook.settings import HOUSE
from tests.conftest import PUBLIC_URL, Copies
from tests.furnishing import DESK, House
from tests.postgres import postgres_server

TICKETS, WORKERS, PEOPLE_EACH = 2000, 4, 5
REFUSED_EVERY = 10  # every so many requests one comes that cannot be
PATIENCE_S = 240.0


@dataclass(frozen=True)
class Opened:
    """What came of it. `answered`: numbers as answered; `kept`: as they are on record, the house's own included."""

    answered: tuple[int, ...]
    kept: tuple[int, ...]
    refused: int
    took_s: float


@contextmanager
def worker(database_url: str, folder: Path) -> Iterator[str]:
    """The service as a process of its own on this database; its address."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = int(free.getsockname()[1])
    told = {"DATABASE_URL": database_url, "DATA_DIR": str(folder), "LISTEN_PORT": str(port), "PUBLIC_URL": PUBLIC_URL}
    environment = {name: value for name, value in os.environ.items() if not name.startswith("PULLBOOK_")}
    environment |= {f"PULLBOOK_{name}": value for name, value in told.items()} | {"PULLBOOK_LOG_LEVEL": "error"}
    process = subprocess.Popen([sys.executable, "-m", "pullbook", "serve"], env=environment, cwd=HOUSE)
    try:
        yield f"http://127.0.0.1:{port}"
    finally:
        process.terminate()
        process.wait(20)


def _awake(address: str) -> None:
    ends = time.monotonic() + PATIENCE_S
    while time.monotonic() < ends:
        try:
            if httpx2.get(f"{address}/healthz").status_code == 200:
                return
        except httpx2.HTTPError:
            time.sleep(0.1)
    raise TimeoutError(f"{address} did not wake up")


def _person(address: str) -> httpx2.Client:
    as_outside = {"Origin": PUBLIC_URL, "Host": urlsplit(PUBLIC_URL).netloc}
    client = httpx2.Client(base_url=address, timeout=PATIENCE_S, headers=as_outside)
    client.post("/api/v1/session", json=DESK.sign_in).raise_for_status()
    return client


def _open_some(client: httpx2.Client, house: House, many: int) -> tuple[list[int], int]:
    wanted = {"customer_id": house.customer_id, "vehicle_id": house.vehicle_id, "asked": "One of many at once"}
    half_a_time = {"booked_from": "2026-12-01T09:00:00+01:00"}  # refused after the number was taken
    numbers, refused = [], 0
    for turn in range(many):
        if turn % REFUSED_EVERY == 0:
            refused += client.post("/api/v1/tickets", json=wanted | half_a_time).status_code == 422
        answer = client.post("/api/v1/tickets", json=wanted)
        answer.raise_for_status()
        numbers.append(int(answer.json()["number"]))
    return numbers, refused


def open_at_once(database_url: str, house: House, folder: Path, tickets: int, workers: int = WORKERS) -> Opened:
    """Open so many tickets through so many processes at once, spread evenly; `tickets` is rounded down to that."""
    each = tickets // (workers * PEOPLE_EACH)
    with ExitStack() as stack:
        addresses = [stack.enter_context(worker(database_url, folder)) for _ in range(workers)]
        for address in addresses:
            _awake(address)
        people = [stack.enter_context(closing(_person(address))) for address in addresses for _ in range(PEOPLE_EACH)]
        pool = stack.enter_context(ThreadPoolExecutor(len(people)))
        began = time.monotonic()
        done = list(pool.map(lambda person: _open_some(person, house, each), people))
        took_s = time.monotonic() - began
    with psycopg.connect(database_url.replace("+psycopg", "", 1)) as connection:
        kept = tuple(row[0] for row in connection.execute("SELECT number FROM ticket ORDER BY number"))
    answered = tuple(sorted(number for numbers, _ in done for number in numbers))
    return Opened(answered, kept, sum(refused for _, refused in done), took_s)


def without_gap(opened: Opened) -> bool:
    """Whether the record counts 1, 2, 3 … and the answers are all of it but the house's own first."""
    return opened.kept == tuple(range(1, len(opened.kept) + 1)) and opened.answered == opened.kept[1:]


def main(arguments: list[str]) -> int:
    """0 when no number is missing or there twice."""
    tickets = int(arguments[0]) if arguments else TICKETS
    workers = int(arguments[1]) if len(arguments) > 1 else WORKERS
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        copies = Copies("postgresql", folder, stack.enter_context(postgres_server()))
        database = stack.enter_context(copies.copy("furnished"))
        assert database.house is not None
        opened = open_at_once(database.url, database.house, folder, tickets, workers)
    many = len(opened.answered)
    print(f"{many} tickets through {workers} processes, {workers * PEOPLE_EACH} people at once, on PostgreSQL")
    print(f"numbers {opened.answered[0]} to {opened.answered[-1]}, {len(set(opened.answered))} different")
    print(f"{opened.refused} refused in between; {opened.took_s:.1f} s, {many / opened.took_s:.0f} tickets a second")
    print("unique and without a gap" if without_gap(opened) else "NOT RIGHT: a number is missing or there twice")
    return 0 if without_gap(opened) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
