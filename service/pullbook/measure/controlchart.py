"""Is it steady? Individuals and moving ranges with their limits, and the four Western Electric rules.

Limits are three sigma, sigma being the mean moving range over d2 = 1.128; the range's own limit is D4 = 3.267 times
that mean (for two at a time: AIAG Statistical Process Control manual, ISO 7870-2; from memory). The rules are those of
the Statistical Quality Control Handbook (Western Electric, 1956): one point beyond 3 sigma, two of three beyond 2 on
one side, four of five beyond 1 on one side, eight in a row on one side.
"""

from collections.abc import Sequence
from math import sqrt

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.measure.curveparts import Array
from pullbook.measure.studentt import two_sided_95

D2, D4 = 1.128, 3.267
FEWEST_FIRST = 4  # points that set limits: fewer would say nothing about scatter
RULES: dict[int, str] = {
    1: "beyond three sigma",
    2: "two of three beyond two sigma on one side",
    3: "four of five beyond one sigma on one side",
    4: "eight in a row on one side",
}
_WINDOWS = {1: (1, 1, 3.0), 2: (2, 3, 2.0), 3: (4, 5, 1.0), 4: (8, 8, 0.0)}  # how many, of how many, beyond what


@dataclass(frozen=True)
class Signal:
    """A rule that a point completes: `place` counts from 0; `high` is which side of the centre."""

    place: int
    rule: int
    high: bool


@dataclass(frozen=True)
class Trend:
    """Slope of the points over time, a unit of time being what the times came in; half: half its 95 % interval."""

    slope: float
    half: float

    @property
    def is_there(self) -> bool:
        return abs(self.slope) > self.half


@dataclass(frozen=True)
class ControlChart:
    """Limits and what breaks them. Arrays are one value a point; the first moving range is NaN. `set_by`: how many of
    the first points set the limits."""

    values: Array
    moving_ranges: Array
    set_by: int
    centre: float
    sigma: float
    lower: float
    upper: float
    mean_range: float
    range_limit: float
    signals: tuple[Signal, ...]
    range_signals: tuple[int, ...]

    def zone(self, sigmas: float) -> float:
        """The line so many sigmas from the centre; below it with a minus."""
        return self.centre + sigmas * self.sigma


def control_chart(values: Sequence[float] | Array, set_by: int) -> ControlChart:
    """The chart of these points in their order, limits set by the first `set_by`. ValueError with fewer points or
    scatter of nought."""
    points = np.asarray(values, np.float64)
    if set_by < FEWEST_FIRST or len(points) < set_by:
        raise ValueError(
            f"{len(points)} points are there and {set_by} are to set the limits; at least {FEWEST_FIRST} are "
            "needed, and all of those that set the limits"
        )
    ranges = np.abs(np.diff(points))
    mean_range = float(ranges[: set_by - 1].mean())
    if not mean_range > 0.0:
        raise ValueError("the first points are all the same; limits need some scatter")
    centre, sigma = float(points[:set_by].mean()), mean_range / D2
    return ControlChart(
        values=points,
        moving_ranges=np.concatenate(([np.nan], ranges)),
        set_by=set_by,
        centre=centre,
        sigma=sigma,
        lower=centre - 3.0 * sigma,
        upper=centre + 3.0 * sigma,
        mean_range=mean_range,
        range_limit=D4 * mean_range,
        signals=signals((points - centre) / sigma),
        range_signals=tuple(int(place) + 1 for place in np.flatnonzero(ranges > D4 * mean_range)),
    )


def signals(away: Array) -> tuple[Signal, ...]:
    """Every rule that each point completes; `away`: distances from the centre in sigmas, one a point.

    A point completes a rule only if it lies out itself, so one run is told once for each point it grows by.
    """
    found: list[Signal] = []
    for side, distances in ((True, away), (False, -away)):
        for rule, (needed, of, beyond) in _WINDOWS.items():
            out = distances > beyond
            counted = np.convolve(out, np.ones(of))[: len(out)]
            places = np.flatnonzero(out & (counted >= needed - 0.5))
            found.extend(Signal(int(place), rule, side) for place in places)
    return tuple(sorted(found, key=lambda signal: (signal.place, signal.rule)))


def trend_of(times: Sequence[float] | Array, values: Sequence[float] | Array) -> Trend | None:
    """The straight line through points over time; None with fewer than four, or all at one time."""
    at, points = np.asarray(times, np.float64), np.asarray(values, np.float64)
    away = at - at.mean() if len(at) else at
    width = float(away @ away)
    if len(points) < 4 or not width > 0.0:
        return None
    slope = float(away @ points) / width
    over = points - points.mean() - slope * away
    dof = len(points) - 2
    return Trend(slope, float(two_sided_95(float(dof))) * sqrt(float(over @ over) / dof / width))


@dataclass(frozen=True)
class Apart:
    """How far a second group of points lies from a first, in their unit, with half the 95 % interval (Welch)."""

    difference: float
    half: float
    dof: float

    @property
    def is_there(self) -> bool:
        return abs(self.difference) > self.half


def apart(first: Sequence[float] | Array, second: Sequence[float] | Array) -> Apart | None:
    """Second less first; None with fewer than two points in either, or no scatter at all.

    Welch 1947, degrees of freedom after Satterthwaite.
    """
    one, other = np.asarray(first, np.float64), np.asarray(second, np.float64)
    if len(one) < 2 or len(other) < 2:
        return None
    parts = np.array([one.var(ddof=1) / len(one), other.var(ddof=1) / len(other)])
    total = float(parts.sum())
    if not total > 0.0:
        return None
    dof = total**2 / float(np.sum(parts**2 / np.array([len(one) - 1.0, len(other) - 1.0])))
    return Apart(float(other.mean() - one.mean()), float(two_sided_95(max(dof, 1.0))) * sqrt(total), dof)
