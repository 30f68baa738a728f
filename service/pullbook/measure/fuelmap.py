"""The fuel map: how far the mixture was from what was wanted, in cells of engine speed and load.

A sample of measured λ belongs to what the engine did `lag_s` earlier, so each row's speed and load meet the λ that
was measured that much later. A cell's mean is over time, not over rows: a row stands for half of the time to either of
its neighbours. The multiplier λ_measured/λ_wanted is what fuel would have to be multiplied by for λ to come out as
wanted, as long as it burns as it did.

Edges: a cell holds `low ≤ x < high`; the last one of each axis holds its upper edge too. What lies outside is counted
there by its time.

A cell's standard error rests on means over whole seconds, not on single rows: a probe remembers some tenths of a
second, and a source that answers ten times a second repeats itself in between.
"""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.measure import METHOD_VERSION
from pullbook.measure.curveparts import Array, Indices, Mask

FIRED_LAMBDA = (0.6, 1.6)  # outside, petrol does not burn or the fuel is cut: common practice
MOST_CELLS = 60  # along either axis
_BLOCK_S = 1.0
_LONG = 5.0  # times the usual step: a gap stands for no more time than a step


class FuelMapError(ValueError):
    """The cells or the target cannot be; `field` names which, the message says what would do."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(message)
        self.field = field


@dataclass(frozen=True)
class Cells:
    """The user's own edges: engine speed in rev/min, load in the unit of its axis; rising, two at least."""

    speed_edges_rpm: tuple[float, ...]
    load_edges: tuple[float, ...]

    def __post_init__(self) -> None:
        """FuelMapError where they do not rise, are too few or too many."""
        for name, edges in (("speed_edges", self.speed_edges_rpm), ("load_edges", self.load_edges)):
            if not 2 <= len(edges) <= MOST_CELLS + 1:
                raise FuelMapError(name, f"{len(edges)} edges; from 2 to {MOST_CELLS + 1} would do")
            if not all(low < high for low, high in pairwise(edges)):  # a NaN fails this too
                raise FuelMapError(name, "edges that do not rise from each to the next; rising ones would do")

    @property
    def shape(self) -> tuple[int, int]:
        """How many cells: load by speed."""
        return len(self.load_edges) - 1, len(self.speed_edges_rpm) - 1


@dataclass(frozen=True)
class MapRun:
    """One recording as the map takes it: (rows,) arrays, stamps rising; NaN where a value is not known.

    `load`: in the unit of the load axis. `lambda_wanted`: None where the target is to stand in.
    """

    time_s: Array
    engine_speed_rpm: Array
    load: Array
    lambda_measured: Array
    lambda_wanted: Array | None
    lag_s: float


@dataclass(frozen=True)
class LeftOut:
    """Time, in s, that went into no cell, and why. A row is counted under the first that holds."""

    not_known_s: float = 0.0  # speed, load or a λ blank, engine not turning, or the lag reaches past the end
    not_fired_s: float = 0.0  # λ outside what burns: fuel cut, misfire, or a probe at its stop
    below_speed_s: float = 0.0
    above_speed_s: float = 0.0
    below_load_s: float = 0.0
    above_load_s: float = 0.0


@dataclass(frozen=True)
class FuelMap:
    """Arrays are (load, speed) cells, NaN below `minimum_time_s`; `time_s` is there always.

    lambda_error: mean of λ_measured − λ_wanted. multiplier: mean of λ_measured/λ_wanted. multiplier_u: standard error
    of that mean; NaN where the cell has fewer than two seconds to tell it by. lambda_measured, lambda_wanted: means.
    """

    cells: Cells
    time_s: Array
    lambda_error: Array
    multiplier: Array
    multiplier_u: Array
    lambda_measured: Array
    lambda_wanted: Array
    minimum_time_s: float
    total_s: float
    left_out: LeftOut
    method_version: str = METHOD_VERSION


@dataclass(frozen=True)
class _Gathered:
    """Seconds of recordings, each within one cell: the cell, its time, and means."""

    cell: Indices
    time_s: Array
    measured: Array
    wanted: Array
    ratio: Array


def fuel_map(
    runs: Sequence[MapRun], cells: Cells, minimum_time_s: float, target: float | Sequence[float] | None = None
) -> FuelMap:
    """Lay recordings into cells.

    `target`: λ wanted where a recording has no command: one figure, or one for each load cell, lowest load first.
    FuelMapError for a target that does not fit the cells, or where one is needed and missing.
    """
    wanted = _targets(cells, target)
    found = [_laid(run, cells, wanted) for run in runs if len(run.time_s) > 1]  # one row stands for no time
    gathered = _together([one for one, _ in found])
    size = cells.shape[0] * cells.shape[1]

    def summed(values: Array) -> Array:
        made: Array = np.asarray(np.bincount(gathered.cell, values, size), np.float64)
        return made

    time = summed(gathered.time_s)
    with np.errstate(invalid="ignore", divide="ignore"):
        means = [summed(gathered.time_s * one) / time for one in (gathered.measured, gathered.wanted, gathered.ratio)]
        away = gathered.ratio - means[2][gathered.cell]
        count = np.bincount(gathered.cell, minlength=size)
        squares = summed((gathered.time_s * away) ** 2) / time**2
        error = np.where(count > 1, np.sqrt(squares * count / np.maximum(count - 1, 1)), np.nan)
    enough = (time >= minimum_time_s) & (time > 0.0)
    measured, asked, ratio, error = (np.where(enough, one, np.nan).reshape(cells.shape) for one in (*means, error))
    return FuelMap(
        cells=cells,
        time_s=time.reshape(cells.shape),
        lambda_error=measured - asked,
        multiplier=ratio,
        multiplier_u=error,
        lambda_measured=measured,
        lambda_wanted=asked,
        minimum_time_s=minimum_time_s,
        total_s=float(sum(float(_weights(run.time_s).sum()) for run in runs)),
        left_out=_added([out for _, out in found]),
    )


def _targets(cells: Cells, target: float | Sequence[float] | None) -> Array | None:
    """λ wanted for each load cell."""
    if target is None:
        return None
    loads = cells.shape[0]
    given = np.atleast_1d(np.asarray(target, np.float64))
    if len(given) not in (1, loads):
        raise FuelMapError("wanted", f"{len(given)} figures of λ wanted; one, or {loads} (one for each load) would do")
    if not ((given >= FIRED_LAMBDA[0]) & (given <= FIRED_LAMBDA[1])).all():
        raise FuelMapError("wanted", f"λ wanted outside {FIRED_LAMBDA[0]:g} to {FIRED_LAMBDA[1]:g}; within would do")
    made: Array = np.broadcast_to(given, (loads,))
    return made


def _laid(run: MapRun, cells: Cells, targets: Array | None) -> tuple[_Gathered, LeftOut]:
    """One recording, second by second and cell by cell."""
    weight = _weights(run.time_s)
    measured = _later(run)
    speed, load = _cell_of(run.engine_speed_rpm, cells.speed_edges_rpm), _cell_of(run.load, cells.load_edges)
    loads, speeds = cells.shape
    if run.lambda_wanted is not None:
        wanted = run.lambda_wanted
    elif targets is not None:
        wanted = targets[np.clip(load, 0, loads - 1)]
    else:
        raise FuelMapError("wanted", "a recording without commanded λ, and no λ wanted; a figure like 0.88 would do")
    with np.errstate(invalid="ignore"):
        known = (run.engine_speed_rpm > 0.0) & (run.load - run.load + measured - measured + wanted > 0.0)
        fired = (measured >= FIRED_LAMBDA[0]) & (measured <= FIRED_LAMBDA[1])
    kept, out = _sorted_out(weight, known, fired, (speed, speeds), (load, loads))
    rows = np.flatnonzero(kept)
    second = ((run.time_s[rows] - run.time_s[0]) / _BLOCK_S).astype(np.intp)
    size = loads * speeds
    key = second * size + load[rows] * speeds + speed[rows]
    return _by_second(key, size, weight[rows], measured[rows], wanted[rows]), out


def _by_second(key: Indices, size: int, weight: Array, measured: Array, wanted: Array) -> _Gathered:
    """Sums over rows of one second and cell; rows come second by second, so runs of equal keys are many."""
    if not len(key):
        nothing = np.zeros(0)
        return _Gathered(np.zeros(0, np.intp), nothing, nothing, nothing, nothing)
    first = np.flatnonzero(np.concatenate(([True], key[1:] != key[:-1])))
    rows = (weight, weight * measured, weight * wanted, weight * measured / wanted)
    pieces = [np.add.reduceat(values, first) for values in rows]
    found, place = np.unique(key[first], return_inverse=True)
    time, *sums = (np.asarray(np.bincount(place, piece, len(found)), np.float64) for piece in pieces)
    return _Gathered(found % size, time, *(one / time for one in sums))


def _sorted_out(
    weight: Array, known: Mask, fired: Mask, speed: tuple[Indices, int], load: tuple[Indices, int]
) -> tuple[Mask, LeftOut]:
    """Which rows fall into a cell, and the time of the others by reason."""
    left, lost = known, [float(weight[~known].sum())]
    reasons = (~fired, speed[0] < 0, speed[0] >= speed[1], load[0] < 0, load[0] >= load[1])
    for reason in reasons:
        gone = left & reason
        lost.append(float(weight[gone].sum()) if gone.any() else 0.0)
        left = left & ~reason
    return left, LeftOut(*lost)


def _cell_of(values: Array, edges: tuple[float, ...]) -> Indices:
    """Which cell each value falls into: −1 below, the number of cells above; the last edge belongs to its cell."""
    bounds = np.asarray(edges)
    place: Indices = np.searchsorted(bounds, values, side="right") - 1
    place[values == bounds[-1]] = len(bounds) - 2
    return place


def _later(run: MapRun) -> Array:
    """λ as it was measured `lag_s` after each row; NaN past the end, and within a gap."""
    if run.lag_s == 0.0:
        return run.lambda_measured
    when = run.time_s + run.lag_s
    later: Array = np.interp(when, run.time_s, run.lambda_measured, right=np.nan)
    steps = run.time_s[1:] - run.time_s[:-1]
    for gap in np.flatnonzero(steps > _LONG * _usual(steps)).tolist():
        first, last = np.searchsorted(when, run.time_s[gap], side="right"), np.searchsorted(when, run.time_s[gap + 1])
        later[first:last] = np.nan
    return later


def _usual(steps_s: Array) -> float:
    """The usual step, told by some hundred of them."""
    return float(np.median(steps_s[:: max(1, len(steps_s) // 500)]))


def _weights(time_s: Array) -> Array:
    """The time that each row stands for: half of the steps on either side, no step counted as more than a usual one
    where there is a gap."""
    if len(time_s) < 2:
        return np.zeros(len(time_s))
    steps = time_s[1:] - time_s[:-1]
    usual = _usual(steps)
    steps = np.where(steps > _LONG * usual, usual, steps)
    made = np.empty(len(time_s))
    made[0], made[-1] = 0.5 * steps[0], 0.5 * steps[-1]
    made[1:-1] = 0.5 * (steps[1:] + steps[:-1])
    return made


def _together(parts: Sequence[_Gathered]) -> _Gathered:
    if not parts:
        nothing = np.zeros(0)
        return _Gathered(np.zeros(0, np.intp), nothing, nothing, nothing, nothing)
    return _Gathered(
        np.concatenate([one.cell for one in parts]),
        *(np.concatenate([getattr(one, name) for one in parts]) for name in ("time_s", "measured", "wanted", "ratio")),
    )


def _added(parts: Sequence[LeftOut]) -> LeftOut:
    names = LeftOut.__dataclass_fields__
    return LeftOut(**{name: float(sum(getattr(one, name) for one in parts)) for name in names})
