"""A shop that really serves on loopback, and the sender as its own process beside it."""

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from pullbook.db.connect import connect
from pullbook.db.senders import TrayFile
from tests.bench.served import environment_for, free_port, wait_for

PROGRAM = Path(__file__).resolve().parents[2] / "service" / "pullbook" / "sending" / "cell_sender.py"


@pytest.fixture
def engine_name() -> str:
    """What travels between two processes does not hang on the database's kind."""
    return "sqlite"


@pytest.fixture
def token(owner: Any, house: Any) -> str:
    """A device's."""
    made = owner.post("/api/v1/devices", json={"name": "Cell PC", "cell_id": house.cell_id})
    return str(made.json()["token"])


@contextmanager
def serving_at(settings: Any, folder: Path, port: int) -> Iterator[subprocess.Popen[bytes]]:
    """The service as it is started, over the test's shop."""
    command = [shutil.which("pullbook", path=os.path.dirname(sys.executable)) or "pullbook", "serve"]
    environment = environment_for(settings.database_url, folder, port)
    process = subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        wait_for(port)
        yield process
    finally:
        process.terminate()
        process.wait(20)


@pytest.fixture
def port(settings: Any, tmp_path: Path) -> Iterator[int]:
    """Where the service listens."""
    number = free_port()
    with serving_at(settings, tmp_path, number):
        yield number


class Sender:
    """The program in a process of its own, with a spool of its own; it finds nothing of the service to import."""

    def __init__(self, folder: Path, address: str, token: str) -> None:
        self.spool = folder / "spool"
        self.environment = {"PATH": os.environ["PATH"], "PULLBOOK_ADDRESS": address, "PULLBOOK_TOKEN": token}
        self.program = folder / "cell_sender.py"
        shutil.copy(PROGRAM, self.program)

    def command(self, *words: Any) -> list[str]:
        """As typed, with short pauses."""
        spool = ["--spool", str(self.spool), "--pause", "0.02"]
        return [sys.executable, "-I", str(self.program), *spool, *map(str, words)]

    def run(self, *words: Any, seconds: float = 60.0) -> subprocess.CompletedProcess[str]:
        """To its end."""
        command = self.command(*words)
        return subprocess.run(command, env=self.environment, capture_output=True, text=True, timeout=seconds)

    def start(self, *words: Any) -> subprocess.Popen[str]:
        """And let it run."""
        pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.STDOUT}
        return subprocess.Popen(self.command(*words), env=self.environment, text=True, **pipes)

    def lying_in(self, state: str) -> list[str]:
        """What lies in one of the spool's folders, by name."""
        return sorted(path.name for path in (self.spool / state).iterdir())


@pytest.fixture
def sender_to(tmp_path: Path, token: str) -> Callable[[int], Sender]:
    """A sender that is connected to a port."""
    return lambda port: Sender(tmp_path, f"http://127.0.0.1:{port}", token)


def until(told: Callable[[], Any], longest_s: float = 60.0) -> Any:
    """Wait for something to become true; what it said last when it does not."""
    for _ in range(int(longest_s / 0.05)):
        if found := told():
            return found
        time.sleep(0.05)
    raise AssertionError(f"it did not come about: {told()!r}")


def in_tray(settings: Any) -> list[tuple[str, str]]:
    """(file name, SHA-256) of everything in the tray, in the order it was received."""
    records = connect(settings.database_url)
    with records.reading() as session:
        rows = session.query(TrayFile.file_name, TrayFile.sha256).order_by(TrayFile.id).all()
    records.close()
    return [(row.file_name, row.sha256) for row in rows]
