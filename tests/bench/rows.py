"""One line of the bench table: what was measured, beside what it must reach."""

import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Row:
    """`measured` against `target`; `least` turns it round: at least, where the rest are at most."""

    name: str
    measured: float
    target: float
    unit: str = "×"
    least: bool = False
    note: str = ""

    @property
    def passes(self) -> bool:
        """Whether it reaches what it must."""
        return self.measured >= self.target if self.least else self.measured <= self.target

    def __str__(self) -> str:
        sign = "≥" if self.least else "≤"
        verdict = "pass" if self.passes else "MISS"
        measured = f"{self.measured:.4g} {self.unit}"
        return f"{self.name:<66} {measured:>12}   {sign} {f'{self.target:.4g} {self.unit}':<9} {verdict}  {self.note}"


def median_s(work: Callable[[], Any], repeats: int = 30, warm_ups: int = 3) -> float:
    """The median time of a piece of work, in seconds, after a few goes that do not count."""
    return medians_s([work], repeats, warm_ups)[0]


def medians_s(works: list[Callable[[], Any]], repeats: int = 30, warm_ups: int = 3) -> list[float]:
    """The median time of each of several, taken in turn so that a slow spell of the machine meets all alike."""
    return [statistics.median(times) for times in _times_s(works, repeats, warm_ups)]


def best_s(
    works: list[Callable[[], Any]], repeats: int = 30, warm_ups: int = 3, clock: Callable[[], float] = time.perf_counter
) -> list[float]:
    """The same with the shortest: what a millisecond of work takes on a machine that does other things besides.

    `clock`: `time.process_time` for this process's own work, where a long piece then suffers no more than a short.
    """
    return [min(times) for times in _times_s(works, repeats, warm_ups, clock)]


def _times_s(
    works: list[Callable[[], Any]], repeats: int, warm_ups: int, clock: Callable[[], float] = time.perf_counter
) -> list[list[float]]:
    for _ in range(warm_ups):
        for work in works:
            work()
    took: list[list[float]] = [[] for _ in works]
    for _ in range(repeats):
        for times, work in zip(took, works, strict=True):
            began = clock()
            work()
            times.append(clock() - began)
    return took


def ms(seconds: float) -> str:
    """A time for a note."""
    return f"{seconds * 1000:.2f} ms"
