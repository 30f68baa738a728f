"""From starting the process to its first answer, against a skeleton of the same core."""

import os
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from pullbook.db.migrating import migrate
from pullbook.settings import MIGRATIONS
from tests.bench.rows import Row, ms
from tests.bench.served import HOUSE, environment_for, free_port, wait_for

REPEATS = 9


def measure() -> Iterator[Row]:
    """Taken in turn."""
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'start.sqlite3'}"
        migrate(url, MIGRATIONS)
        ours, core, memory, core_memory = [], [], [], []
        for _ in range(REPEATS):
            port = free_port()
            environment = environment_for(url, Path(folder), port)
            for times, sizes, command in (
                (ours, memory, [sys.executable, "-m", "pullbook", "serve"]),
                (core, core_memory, [sys.executable, "tests/bench/skeleton.py", str(port)]),
            ):
                took, size = _start(command, environment, port)
                times.append(took)
                sizes.append(size)
    whole, bare = statistics.median(ours[1:]), statistics.median(core[1:])
    sizes = f"memory {statistics.median(memory):.0f} to {statistics.median(core_memory):.0f} MB"
    note = f"{ms(whole)} to {ms(bare)}; {sizes}"
    yield Row("process started to first answer, × core skeleton", whole / bare, 1.5, note=note)


def _start(command: list[str], environment: dict[str, str], port: int) -> tuple[float, float]:
    """Seconds to the first answer, and resident MB then."""
    process = subprocess.Popen(command, cwd=HOUSE, env=environment, stdout=subprocess.DEVNULL)
    try:
        took = wait_for(port)
        pages = Path(f"/proc/{process.pid}/statm")
        size = int(pages.read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6 if pages.exists() else 0.0
        return took, size
    finally:
        process.terminate()
        process.wait(20)
