"""Did the change help? Two setups' pulls on one grid: the difference with its interval, and one of four words for it.

The 95 % interval of the difference of mean power over a band decides (`contrast` says how it comes about). It lies
above zero: *gain*. Below: *loss*. It holds zero, and nothing outside ± the share that matters: *no difference* larger
than that share – two one-sided tests (Schuirmann 1987, "A comparison of the two one-sided tests procedure and the power
approach for assessing the equivalence of average bioavailability", J. Pharmacokinet. Biopharm. 15, 657–680; from
memory), each at 2.5 %, half of what is usual, so that the one interval shown decides everything. Anything else: *not
enough pulls*. In per cent of the first setup the interval is Fieller's (1954, "Some problems in interval estimation",
J. R. Statist. Soc. B 16, 175–185; from memory): it holds 0 % exactly where the interval in watts holds 0 W.

The repeats show the scatter from pull to pull. They do not show what is the same in all pulls of a setup.
"""

from typing import Literal

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.measure.contrast import Contrast, Plan, contrast, plan_of
from pullbook.measure.curveparts import Array
from pullbook.measure.detecting import further_pulls, smallest_shown

Kind = Literal["gain", "loss", "no_difference", "not_enough_pulls"]
WORTH_PCT = 1.0
FEWEST = 2  # pulls of each setup: one has no scatter


@dataclass(frozen=True)
class Pointwise:
    """The difference at each point of the grid, W, with its 95 % interval; one-dimensional, NaN where a pull ends."""

    difference_w: Array
    low_w: Array
    high_w: Array


@dataclass(frozen=True)
class Verdict:
    """One setup less the first. `…_pct` are shares of the first setup's mean power over the band.

    None, where there is one pull of either setup: `interval_…`, `dof`, `smallest_shown_…`, `pulls_for_…`. `pulls_for_…`
    are further pulls of each setup, with the scatter seen; None too where it would take more than can be asked for.
    """

    kind: Kind
    method: Literal["welch", "paired"]
    pairs: int
    counts: tuple[int, int]
    band_rpm: tuple[float, float]
    worth_pct: float
    means_w: tuple[float, float]
    scatters_w: tuple[float | None, float | None]  # standard deviation of single pulls; None for one pull
    interval_w: tuple[float, float] | None
    interval_pct: tuple[float, float] | None
    dof: float | None
    smallest_shown_w: float | None
    pulls_for_1_pct: int | None
    pulls_for_worth: int | None
    other_u_pct: float
    pointwise: Pointwise

    @property
    def difference_w(self) -> float:
        """Later less first."""
        return self.means_w[1] - self.means_w[0]

    @property
    def difference_pct(self) -> float:
        """Later less first, in % of the first."""
        return 100.0 * self.difference_w / self.means_w[0]

    @property
    def smallest_shown_pct(self) -> float | None:
        """The smallest difference that this many pulls would have shown nine times in ten, in % of the first."""
        return None if self.smallest_shown_w is None else 100.0 * self.smallest_shown_w / abs(self.means_w[0])


def verdict(
    first_w: Array,
    later_w: Array,
    grid_rpm: Array,
    band_rpm: tuple[float, float],
    taken_s: tuple[Array, Array],
    worth_pct: float = WORTH_PCT,
    other_u_pct: float = 0.0,
) -> Verdict:
    """`first_w`, `later_w`: a row for each pull, a column for each point of `grid_rpm`, power in W; every row must
    cover the band. `taken_s`: when each row was taken, in seconds from anywhere. `other_u_pct`: a standard uncertainty
    of the difference that the repeats cannot show (two cells, two calibrations), in % of the first setup.

    ValueError for a band off the grid or not covered, for no pulls, and for a share that matters of 0 or less.
    """
    if not worth_pct > 0.0:
        raise ValueError(f"a share of {worth_pct:g} % cannot matter; give one above 0")
    if not len(first_w) or not len(later_w):
        raise ValueError("a setup without a pull has no difference to another")
    rows = np.concatenate([first_w, later_w])
    weights = band_weights(grid_rpm, band_rpm)
    means = rows[:, weights > 0.0] @ weights[weights > 0.0]
    if not np.isfinite(means).all():
        raise ValueError(f"not every pull covers {band_rpm[0]:g} to {band_rpm[1]:g} rev/min")
    plan = plan_of(*taken_s)
    table = np.concatenate([rows, means[:, None]], axis=1)
    if min(len(first_w), len(later_w)) < FEWEST:
        return _without_scatter(table, plan, band_rpm, worth_pct, other_u_pct)
    return _judged(contrast(table, plan, 0.01 * other_u_pct), plan, band_rpm, worth_pct, other_u_pct)


def band_weights(grid_rpm: Array, band_rpm: tuple[float, float]) -> Array:
    """Weights whose sum with a curve is its mean over the band: trapezoids, ends interpolated. ValueError off it."""
    low, high = band_rpm
    if not (len(grid_rpm) > 1 and grid_rpm[0] <= low < high <= grid_rpm[-1]):
        raise ValueError(f"the band from {low:g} to {high:g} rev/min does not lie on the grid")
    first, last = int(np.searchsorted(grid_rpm, low, "right")), int(np.searchsorted(grid_rpm, high, "left"))
    knots = np.concatenate([[low], grid_rpm[first:last], [high]])
    widths = np.zeros(len(knots))
    widths[:-1] += 0.5 * np.diff(knots)
    widths[1:] += 0.5 * np.diff(knots)
    weights = np.zeros(len(grid_rpm))
    weights[first:last] = widths[1:-1]
    for at, width, right in ((low, widths[0], first), (high, widths[-1], last)):
        share = (grid_rpm[right] - at) / (grid_rpm[right] - grid_rpm[right - 1])
        weights[right - 1] += width * share
        weights[right] += width * (1.0 - share)
    return weights / (high - low)


def _judged(
    found: Contrast, plan: Plan, band_rpm: tuple[float, float], worth_pct: float, other_u_pct: float
) -> Verdict:
    """Every column but the last is a point of the grid, the last the mean over the band."""
    points, half = found.difference[:-1], found.half
    first, later = float(found.first[-1]), float(found.later[-1])
    difference = later - first
    interval_w = (difference - float(half[-1]), difference + float(half[-1]))
    interval_pct = _relative(found)
    scatters = (float(found.spreads[0][-1]), float(found.spreads[1][-1]))
    counts = (plan.first_count, plan.later_count)
    other = float(found.other[-1])
    deviation = np.sqrt(found.parts[0][-1:] + found.parts[1][-1:] + found.other[-1:])
    least = float(smallest_shown(deviation, found.dof[-1:], found.critical[-1:])[0])

    def further(wanted_pct: float) -> int | None:
        wanted = 0.01 * wanted_pct * abs(first)
        if least <= wanted:
            return 0
        more = further_pulls(wanted, scatters, counts, other)
        return None if more is None else max(more, 1)  # a drift, or few beside many, cost more than it reckons with

    for_1_pct = further(1.0)
    return Verdict(
        kind=_kind(interval_w, interval_pct, worth_pct),
        method=plan.method,
        pairs=plan.pairs,
        counts=counts,
        band_rpm=band_rpm,
        worth_pct=worth_pct,
        means_w=(first, later),
        scatters_w=scatters,
        interval_w=interval_w,
        interval_pct=interval_pct,
        dof=float(found.dof[-1]),
        smallest_shown_w=least,
        pulls_for_1_pct=for_1_pct,
        pulls_for_worth=for_1_pct if worth_pct == 1.0 else further(worth_pct),
        other_u_pct=other_u_pct,
        pointwise=Pointwise(points, points - half[:-1], points + half[:-1]),
    )


def _kind(interval_w: tuple[float, float], interval_pct: tuple[float, float] | None, worth_pct: float) -> Kind:
    if interval_w[0] > 0.0:
        return "gain"
    if interval_w[1] < 0.0:
        return "loss"
    if interval_pct is not None and max(-interval_pct[0], interval_pct[1]) <= worth_pct:
        return "no_difference"
    return "not_enough_pulls"


def _relative(found: Contrast) -> tuple[float, float] | None:
    """Fieller's interval of later over first, less one, in %; None where the first is not told from no power at all.

    All R for which later − R·first lies within its own interval about zero: between the roots of a·R² − 2·b·R + c.
    """
    first, later, reach = float(found.first[-1]), float(found.later[-1]), float(found.critical[-1]) ** 2
    of_first, of_later, shared = (float(variance[-1]) for variance in found.level_variances)
    a = first**2 - reach * of_first
    b = first * later - reach * shared
    c = later**2 - reach * (of_later + float(found.other[-1]))
    inside = b * b - a * c
    if a <= 0.0 or inside < 0.0:
        return None
    root = float(np.sqrt(inside))
    return 100.0 * ((b - root) / a - 1.0), 100.0 * ((b + root) / a - 1.0)


def _without_scatter(
    table: Array, plan: Plan, band_rpm: tuple[float, float], worth_pct: float, other_u_pct: float
) -> Verdict:
    """One pull of a setup has no scatter: the difference is there, and nothing can be said of it."""
    first, later = table[: plan.first_count], table[plan.first_count :]
    scatters = [None if len(rows) < FEWEST else float(rows[:, -1].std(ddof=1)) for rows in (first, later)]
    points = (later.mean(axis=0) - first.mean(axis=0))[:-1]
    nothing = np.full(len(points), np.nan)
    return Verdict(
        kind="not_enough_pulls",
        method="welch",
        pairs=0,
        counts=(plan.first_count, plan.later_count),
        band_rpm=band_rpm,
        worth_pct=worth_pct,
        means_w=(float(first[:, -1].mean()), float(later[:, -1].mean())),
        scatters_w=(scatters[0], scatters[1]),
        interval_w=None,
        interval_pct=None,
        dof=None,
        smallest_shown_w=None,
        pulls_for_1_pct=None,
        pulls_for_worth=None,
        other_u_pct=other_u_pct,
        pointwise=Pointwise(points, nothing, nothing),
    )


__all__ = ["FEWEST", "WORTH_PCT", "Kind", "Pointwise", "Verdict", "band_weights", "verdict"]
