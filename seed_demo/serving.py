"""The service itself as a process beside us: migrated, started, asked whether it is awake, and stopped."""

import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

import httpx2

from seed_demo.folder import DemoError, Folder

HOST = "127.0.0.1"
PATIENCE_S = 60.0


def environment(folder: Folder, port: int) -> dict[str, str]:
    """What the service reads its settings from; nothing of the caller's own settings gets in."""
    inherited = {name: value for name, value in os.environ.items() if not name.startswith("PULLBOOK_")}
    return inherited | {
        "PULLBOOK_DATABASE_URL": f"sqlite:///{folder.database.resolve().as_posix()}",
        "PULLBOOK_DATA_DIR": str(folder.path.resolve()),
        "PULLBOOK_LISTEN_HOST": HOST,
        "PULLBOOK_LISTEN_PORT": str(port),
        "PULLBOOK_PUBLIC_URL": f"http://{HOST}:{port}",
    }


def migrate(folder: Folder, port: int) -> None:
    """Bring the demo's database to this version, or say why that cannot be."""
    done = _command(folder, port, "migrate")
    if done.returncode != 0:
        why = _last_words(done.stderr) or _last_words(done.stdout)
        raise DemoError(f"The demo's database in {folder.path} cannot be used: {why}\nTo start over: --fresh")


def first_owner_token(folder: Folder, port: int) -> str:
    """From the one-time set-up link that the service prints for whoever runs it."""
    done = _command(folder, port, "staff", "first-link")
    for word in done.stdout.split():
        if "/set-up/" in word:
            return urlsplit(word).path.rpartition("/")[2]
    raise DemoError(f"No set-up link for the first owner: {_last_words(done.stderr) or _last_words(done.stdout)}")


@dataclass(frozen=True)
class Running:
    """The service, answering at this address until it is stopped."""

    address: str
    process: subprocess.Popen[bytes]
    log: Path

    def wait(self, seconds: float) -> bool:
        """Whether it ended by itself within that time."""
        try:
            self.process.wait(seconds)
        except subprocess.TimeoutExpired:
            return False
        return True


@contextmanager
def service(folder: Folder, port: int) -> Iterator[Running]:
    """Serve; there it is once it answers."""
    address = f"http://{HOST}:{port}"
    with folder.log.open("ab") as log:
        process = subprocess.Popen(
            [sys.executable, "-m", "pullbook", "serve"],
            env=environment(folder, port),
            stdout=log,
            stderr=log,
            start_new_session=os.name == "posix",  # Ctrl-C is for us; we stop it ourselves
        )
    folder.service.write_text(f"{process.pid}\n")
    try:
        _wait_until_awake(process, address, folder.log)
        yield Running(address, process, folder.log)
    finally:
        _stop(process)
        folder.service.unlink(missing_ok=True)


def _wait_until_awake(process: subprocess.Popen[bytes], address: str, log: Path) -> None:
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until:
        if process.poll() is not None:
            break
        try:
            if httpx2.get(f"{address}/healthz", timeout=2.0).status_code == 200 and process.poll() is None:
                return
        except httpx2.HTTPError:
            time.sleep(0.05)
    raise DemoError(f"The service did not start: {last_words_of(log)}\nAll it said: {log}")


def last_words_of(log: Path) -> str:
    """The last line that the service wrote."""
    return (_last_words(log.read_text(errors="replace")) if log.exists() else "") or "it said nothing"


def _stop(process: subprocess.Popen[bytes]) -> None:
    process.terminate()
    try:
        process.wait(timeout=10.0)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


def _command(folder: Folder, port: int, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "pullbook", *words], env=environment(folder, port), capture_output=True, text=True
    )


def _last_words(text: str) -> str:
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    return lines[-1].removeprefix("pullbook: ") if lines else ""
