"""How near lags and clock offsets come to the truth, over many seeds: `python -m tests.studies.lags [seeds]`.

Lag is the effective delay, pure delay plus the probe's time constant (0.1 s here), of measured behind commanded λ.
Wanted: within 20 ms at 200 Hz for 0.1 to 1.0 s, the command written down at 10 Hz too; clocks within 30 ms. Errors in
ms; `u` is the uncertainty that is stated (k = 1), `in 2 u` how often the truth lies within twice that. `best possible`
is how often any estimator could be within 20 ms (`lag_bound`), `told more` one that knows the mixture's gain and the
probe's time constant: where that is below 100 %, nobody can keep to 20 ms. A mixture that strays from the command by
itself has no such bound; it shows how much is lost, and how far the stated uncertainty holds it.
"""

import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from pullbook.measure.alignment import clock_offset, probe_lag
from seed_demo.instruments import Instruments, record
from seed_demo.rolling_road import Car, Engine, Pull, Roller, Run, roller_for_sweep_of
from seed_demo.shapes import smooth
from tests.studies.lag_bound import LITTLE_KNOWN, TOLD_MORE, best_possible
from tests.studies.made_lambda import SHAPES, WAYS, Case, Floats, channels_of

SEEDS, BOUND_SEEDS = 40, 20
LAGS_S = (0.1, 0.2, 0.35, 0.5, 0.75, 1.0)
WITHIN_LAG_MS, WITHIN_CLOCK_MS = 20.0, 30.0
TORQUE = smooth((1500, 150), (2500, 190), (3500, 215), (4500, 222), (5500, 210), (6500, 180), (7000, 160))
CLOCK_WAYS = ("10 Hz on its own stamps", "10 Hz held at 200 Hz", "10 Hz, lines between, at 200 Hz")


@dataclass(frozen=True)
class Row:
    """One case over all its seeds; `not_told`: how many were refused with a reason."""

    name: str
    errors_ms: Floats
    stated_ms: Floats
    not_told: int
    within_ms: float
    bound: str = ""

    def __str__(self) -> str:
        """A line of the table."""
        if not len(self.errors_ms):
            return f"{self.name:<58} {0:>5} {self.not_told:>8}"
        off = np.abs(self.errors_ms)
        share = 100.0 * float(np.mean(off <= self.within_ms))
        sure = 100.0 * float(np.mean(off <= 2.0 * self.stated_ms))
        error = f"{self.errors_ms.mean():>+7.1f} {self.errors_ms.std():>6.1f} {np.quantile(off, 0.95):>6.1f}"
        ends = f"{share:>8.1f} % {self.stated_ms.mean():>6.1f} {sure:>7.1f} %"
        return (
            f"{self.name:<58} {len(off):>5} {self.not_told:>8} {error} {off.max():>6.1f} {ends} {self.bound}".rstrip()
        )


HEADING = (
    f"{'case':<58} {'found':>5} {'not told':>8} {'mean':>7} {'sd':>6} {'95 %':>6} {'worst':>6} {'within':>10} {'u':>6} "
    f"{'in 2 u':>9} {'best possible':>14} {'told more':>10}"
)


def lag_row(
    shape: str, way: str, seeds: int, noise: float = 0.004, measured_way: str = "200 Hz", strays: float = 0.0
) -> Row:
    """One shape of command, written down one way, over all lags and seeds."""
    errors, stated, not_told = [], [], 0
    for lag_s in LAGS_S:
        for seed in range(seeds):
            channels, sweep_s = channels_of(
                Case(shape, way, lag_s, seed, noise, measured_way=measured_way, strays=strays)
            )
            found = probe_lag(channels, sweep_s)
            if not found.found:
                not_told += 1
                continue
            errors.append(1e3 * (found.lag_s - lag_s))
            stated.append(1e3 * found.u_s)
    also = "" if measured_way == "200 Hz" else ", both"
    also += f", strays {strays:g}" if strays else ""
    return Row(f"{shape}, {way}{also}, λ ± {noise:g}", np.array(errors), np.array(stated), not_told, WITHIN_LAG_MS)


def bounded(row: Row, shape: str, way: str, noise: float = 0.004, measured_way: str = "200 Hz") -> Row:
    """The same with what nobody can do better than."""
    seeds = BOUND_SEEDS
    shares = [best_possible(shape, way, noise, measured_way, seeds, known) for known in (LITTLE_KNOWN, TOLD_MORE)]
    return replace(row, bound=f"{100.0 * shares[0]:>12.1f} % {100.0 * shares[1]:>8.1f} %")


@cache
def run_lasting(seconds: float) -> Run:
    """A pull whose sweep takes that long."""
    car, pull = Car(Engine(TORQUE), turns=5.0), Pull()
    return Run(car, roller_for_sweep_of(seconds, car, Roller(), pull), pull)


def clock_row(seconds: float, way: str, seeds: int) -> Row:
    """Engine speed of one pull on two clocks: 200 Hz with noise and dropouts, and 10 Hz in quarters of a rev/min."""
    run, errors, stated, not_told = run_lasting(seconds), [], [], 0
    for seed in range(seeds):
        chance = np.random.default_rng(seed)
        seen = record(run, Instruments(engine_speed_noise_rpm=6.0, engine_speed_dropouts=0.01), seed)
        ahead = chance.uniform(-300.0, 300.0)
        when = np.arange(chance.uniform(0.3, 1.0), run.duration_s - chance.uniform(0.0, 1.0), 0.1)
        rpm = np.round(4.0 * (run.at(when).engine_speed_rpm + chance.normal(0.0, 8.0, len(when)))) / 4.0
        when = when + ahead
        if way != CLOCK_WAYS[0]:
            rows = np.arange(when[0], when[-1], 0.005)
            held = rpm[np.searchsorted(when, rows, side="right") - 1]
            when, rpm = rows, held if way == CLOCK_WAYS[1] else np.interp(rows, when, rpm)
        found = clock_offset(seen["time_s"], seen["engine_speed_rpm"], when, rpm)
        if found.offset_s is None or found.u_s is None:
            not_told += 1
            continue
        errors.append(1e3 * (found.offset_s + ahead))
        stated.append(1e3 * found.u_s)
    name = f"clocks, sweep of {seconds:g} s, {way}"
    return Row(name, np.array(errors), np.array(stated), not_told, WITHIN_CLOCK_MS)


def rows(seeds: int) -> Iterator[Row]:
    """Every case."""
    for shape in SHAPES:
        for way in WAYS:
            yield bounded(lag_row(shape, way, seeds), shape, way)
    for shape in SHAPES[:2]:
        for way in WAYS[1:]:
            yield bounded(lag_row(shape, way, seeds, 0.002, way), shape, way, 0.002, way)
    for shape in SHAPES[:4]:
        yield lag_row(shape, "200 Hz", seeds, strays=0.003)
    for seconds in (4.0, 8.0, 14.0):
        for way in CLOCK_WAYS:
            yield clock_row(seconds, way, seeds)


def main(arguments: list[str]) -> int:
    """Print the table."""
    seeds = int(arguments[0]) if arguments else SEEDS
    print(f"Lags of {LAGS_S[0]:g} to {LAGS_S[-1]:g} s, {seeds} seeds each; errors in ms\n{HEADING}")
    for row in rows(seeds):
        print(row, flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
