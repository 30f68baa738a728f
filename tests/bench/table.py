"""The bench table: every figure that must be reached, as ratios within one run. `python3 tests/run.py --bench`."""

import platform
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

from tests.bench import (
    accuracy,
    archive_bench,
    filing_bench,
    intake_bench,
    mapping_bench,
    month_bench,
    reading_bench,
    results_bench,
    starting_bench,
)
from tests.bench.rows import Row
from tests.bench.served import served

PARTS: dict[str, Callable[[], Iterator[Row]]] = {
    "accuracy against the forward model": accuracy.measure,
    "calculation": reading_bench.calculation,
    "holds against the forward model": mapping_bench.holds,
    "large pulls": mapping_bench.curve_of_a_large_pull,
    "reading files": intake_bench.measure,
    "month by month": month_bench.measure,
    "starting": starting_bench.measure,
    "archive of many pulls": archive_bench.measure,
}


def main(wanted: list[str]) -> int:
    """Print the table, or the parts whose heading holds one of the words asked for. 1 when something is missed."""
    missed = 0
    print(f"Python {platform.python_version()}, {platform.machine()}; medians; ratios hold within this run\n")

    def told(heading: str, rows: Iterator[Row]) -> None:
        nonlocal missed
        if wanted and not any(word in heading for word in wanted):
            return
        print(heading, flush=True)
        for row in rows:
            missed += not row.passes
            print(f"  {row}", flush=True)
        print(flush=True)

    for heading, measure in PARTS.items():
        told(heading, measure())
    with tempfile.TemporaryDirectory() as folder, served(Path(folder)) as running:
        told("reading over HTTP", reading_bench.over_http(running))
        told("filing", filing_bench.measure(running))
        told("fuel mapping", mapping_bench.fuel_map_of_twenty(running))
        told("the results page", results_bench.measure(running))
    print("everything reached" if not missed else f"{missed} missed")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
