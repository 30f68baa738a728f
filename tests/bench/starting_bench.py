"""From starting the process to its first answers, against a skeleton of the same core.

Each is asked of a process of its own as soon as its socket answers: a page that reads the records, a question to the
API that reads them, and the check that asks nobody. The skeleton is asked for what it has, which reads nothing.
"""

import http.client
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from pullbook.db.migrating import migrate
from pullbook.settings import MIGRATIONS
from tests.bench.rows import Row, ms
from tests.bench.served import HOUSE, environment_for, free_port, furnished, wait_for

REPEATS = 9
PAGE, API, CHECK = "/", "/api/v1/tickets", "/healthz"  # today's plan, the list of tickets, is it alive
SERVE = [sys.executable, "-m", "pullbook", "serve"]


def measure() -> Iterator[Row]:
    """Taken in turn."""
    taken: dict[str, list[float]] = {name: [] for name in (PAGE, API, CHECK, "core")}
    sizes: dict[str, list[float]] = {name: [] for name in taken}
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'start.sqlite3'}"
        migrate(url, MIGRATIONS)
        cookie = _made_a_shop(url, Path(folder))
        for _ in range(REPEATS):
            for name, times in taken.items():
                port = free_port()
                skeleton = [sys.executable, "tests/bench/skeleton.py", str(port)]
                command, path = (skeleton, CHECK) if name == "core" else (SERVE, name)
                took, size = _start(command, environment_for(url, Path(folder), port), port, path, cookie)
                times.append(took)
                sizes[name].append(size)
    whole = {name: statistics.median(times[1:]) for name, times in taken.items()}
    size = {name: statistics.median(each) for name, each in sizes.items()}
    core = whole["core"]
    for name, words in ((PAGE, "page of records"), (API, "API answer from records"), (CHECK, "answer of any kind")):
        note = f"{name}: {ms(whole[name])} to {ms(core)}"
        yield Row(f"process started to first {words}, × core skeleton", whole[name] / core, 1.5, note=note)
    note = f"{size[PAGE]:.0f} to {size['core']:.0f} MB; what loads behind the first answers is not in it"
    yield Row("resident memory at the first page, × core skeleton", size[PAGE] / size["core"], 1.5, note=note)


def _made_a_shop(url: str, folder: Path) -> str:
    """A shop with people and a car on record; the owner's cookie."""
    port = free_port()
    process = subprocess.Popen(SERVE, cwd=HOUSE, env=environment_for(url, folder, port), stdout=subprocess.DEVNULL)
    try:
        wait_for(port)
        return furnished(url, port)[1]
    finally:
        process.terminate()
        process.wait(20)


def _start(command: list[str], environment: dict[str, str], port: int, path: str, cookie: str) -> tuple[float, float]:
    """Seconds to the first answer, and resident MB then."""
    began = time.perf_counter()
    process = subprocess.Popen(command, cwd=HOUSE, env=environment, stdout=subprocess.DEVNULL)
    try:
        while not _answers(port, path, cookie):
            if time.perf_counter() - began > 60:
                raise RuntimeError(f"{command} does not answer")
            time.sleep(0.002)
        took = time.perf_counter() - began
        pages = Path(f"/proc/{process.pid}/statm")
        size = int(pages.read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6 if pages.exists() else 0.0
        return took, size
    finally:
        process.terminate()
        process.wait(20)


def _answers(port: int, path: str, cookie: str) -> bool:
    """Whether a whole answer came; RuntimeError when it is not 200."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    try:
        connection.request("GET", path, headers={"Cookie": cookie})
        answer = connection.getresponse()
        answer.read()
    except OSError:
        return False
    finally:
        connection.close()
    if answer.status != 200:
        raise RuntimeError(f"{path}: {answer.status}")
    return True
