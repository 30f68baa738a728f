"""One setup less another, point by point: the difference of their pulls' means, and how far chance alone moves it.

Welch's way (Welch 1947, "The generalization of 'Student's' problem when several different population variances are
involved", Biometrika 34, 28–35; degrees of freedom after Satterthwaite 1946, both from memory): each setup has its own
scatter. Where the pulls went back and forth between the setups, a drift that goes on steadily from pull to pull can be
told from the setups, and is taken out of both: a straight line in the order of the pulls, common to both setups, is
fitted beside their two levels. Pull by pull that is what a pair is for, but plain pairs A-B A-B keep one step of the
drift, since B always comes second. What remains is drift that bends: it scatters into the residuals and widens the
interval.

With two or three pulls in one setup and at least twice as many in the other, Welch's interval is too short (the few may
lie together by chance); it is taken half-way to that of Cochran and Cox (1950, Experimental Designs; from memory). The
study of verdicts in the tests shows what either does.
"""

from typing import Literal

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.measure.curveparts import Array, Mask
from pullbook.measure.studentt import two_sided_95

FEWEST_PAIRED = 3  # pulls of each setup: with two the drift leaves one degree of freedom, and an interval of no use
FEWEST_CHANGES = 3  # A-B-A-B: three changes of setup
MOST_INFLATED = 1.25  # of the variance, by having to tell the drift from the setups
_FEW = 3  # pulls, beside twice as many: where Welch's interval is too short


@dataclass(frozen=True)
class Plan:
    """In which order two setups were pulled, and what that allows. Rows: the first's pulls, then the later's."""

    method: Literal["welch", "paired"]
    first_count: int
    later_count: int
    changes: int  # of setup, in the order of the pulls; 0 where the order is not known
    order: Array  # of each row among all, centred; empty for Welch

    @property
    def is_later(self) -> Mask:
        """Which rows are the later setup's."""
        return np.arange(self.first_count + self.later_count) >= self.first_count

    @property
    def is_lopsided(self) -> bool:
        """Whether one setup has two or three pulls and the other at least twice as many."""
        fewer, more = sorted((self.first_count, self.later_count))
        return fewer <= _FEW and more >= 2 * fewer

    @property
    def pairs(self) -> int:
        """How many pulls of one setup have one of the other beside them; 0 for Welch."""
        return min(self.first_count, self.later_count) if self.method == "paired" else 0


@dataclass(frozen=True)
class Contrast:
    """What comes of it for each column. All arrays have one value a column; NaN where a pull has none.

    `spreads`: standard deviation of single pulls in each setup (the drift taken out where paired). `half` is half the
    95 % interval of the difference. `parts` are the variances of the difference that each setup contributes, and
    `dofs` the degrees of freedom each is known with; `other` is the variance added from outside.
    """

    first: Array
    later: Array
    spreads: tuple[Array, Array]
    parts: tuple[Array, Array]
    dofs: tuple[float, float]
    other: Array
    dof: Array
    critical: Array
    level_variances: tuple[Array, Array, Array]  # of first, of later, and what they share

    @property
    def difference(self) -> Array:
        """Later less first."""
        return self.later - self.first

    @property
    def half(self) -> Array:
        """Half the width of the 95 % interval of the difference."""
        made: Array = self.critical * np.sqrt(self.parts[0] + self.parts[1] + self.other)
        return made


def plan_of(first_s: Array, later_s: Array) -> Plan:
    """From when each pull was taken, in seconds.

    A drift is taken out where the setups were gone back and forth between: at least three pulls of each, three changes
    of setup, and an order from which the drift can be told at a cost of no more than a quarter of the variance. So one
    pull missing from A-B-A-B does no harm, and A-B-B-A is as good. Where pulls of both setups have the very same time,
    their order is not known.
    """
    times = np.concatenate([first_s, later_s])
    later = np.arange(len(times)) >= len(first_s)
    welch = Plan("welch", len(first_s), len(later_s), 0, np.empty(0))
    if np.intersect1d(first_s, later_s).size:
        return welch
    sequence = np.argsort(times, kind="stable")
    changes = int(np.count_nonzero(np.diff(later[sequence])))
    known = Plan("welch", len(first_s), len(later_s), changes, np.empty(0))
    if min(len(first_s), len(later_s)) < FEWEST_PAIRED or changes < FEWEST_CHANGES:
        return known
    order = np.empty(len(times))
    order[sequence] = np.arange(len(times)) - 0.5 * (len(times) - 1)
    inside = order - np.where(later, order[later].mean(), order[~later].mean())
    gap = order[later].mean() - order[~later].mean()
    plain = 1.0 / len(first_s) + 1.0 / len(later_s)
    if gap * gap / float(inside @ inside) > (MOST_INFLATED - 1.0) * plain:
        return known
    return Plan("paired", len(first_s), len(later_s), changes, order)


def contrast(values: Array, plan: Plan, other_u: float = 0.0) -> Contrast:
    """`values`: a row for each pull as the plan has them, a column for each figure; two rows or more of each setup.

    `other_u`: a standard uncertainty from outside that the repeats cannot show, as a share of the first setup's level.
    """
    weighed = _weighed(plan)
    groups = (~plan.is_later, plan.is_later)
    first, later = weighed.levels @ values
    own_means = np.where(plan.is_later[:, None], values[groups[1]].mean(axis=0), values[groups[0]].mean(axis=0))
    residuals = values - own_means - weighed.drift[:, None] * (weighed.slope @ values)
    squares = [(residuals[rows] ** 2).sum(axis=0) / dof for rows, dof in zip(groups, weighed.dofs, strict=True)]
    apart = weighed.levels[1] - weighed.levels[0]

    def varied(one: Array, two: Array) -> tuple[Array, Array]:
        """What each setup's scatter makes of the product of two weighted sums."""
        made = [float(one[rows] @ two[rows]) * square for rows, square in zip(groups, squares, strict=True)]
        return made[0], made[1]

    def both(one: int, two: int) -> Array:
        of_first, of_later = varied(weighed.levels[one], weighed.levels[two])
        return of_first + of_later

    parts = varied(apart, apart)
    other = (other_u * first) ** 2
    dof, critical = _critical(parts, weighed.dofs, other, plan)
    return Contrast(
        first=first,
        later=later,
        spreads=(np.sqrt(squares[0]), np.sqrt(squares[1])),
        parts=parts,
        dofs=weighed.dofs,
        other=other,
        dof=dof,
        critical=critical,
        level_variances=(both(0, 0), both(1, 1), both(0, 1)),
    )


@dataclass(frozen=True)
class _Weighed:
    """`levels @ values` are both setups' levels, `slope @ values` the drift from pull to pull; zeros for Welch."""

    levels: Array
    slope: Array
    drift: Array  # by how many steps of drift a row lies from its setup's mean
    dofs: tuple[float, float]


def _weighed(plan: Plan) -> _Weighed:
    later = plan.is_later
    counts = (plan.first_count, plan.later_count)
    levels = np.stack([np.where(later, 0.0, 1.0 / counts[0]), np.where(later, 1.0 / counts[1], 0.0)])
    if plan.method == "welch":
        nothing = np.zeros(len(later))
        return _Weighed(levels, nothing, nothing, (counts[0] - 1.0, counts[1] - 1.0))
    starts = levels @ plan.order
    drift = plan.order - np.where(later, starts[1], starts[0])
    slope = drift / float(drift @ drift)
    taken = float(drift[~later] @ slope[~later])  # of the one degree of freedom that the slope costs
    return _Weighed(levels - np.outer(starts, slope), slope, drift, (counts[0] - 1.0 - taken, counts[1] - 2.0 + taken))


def _critical(parts: tuple[Array, Array], dofs: tuple[float, float], other: Array, plan: Plan) -> tuple[Array, Array]:
    """Welch–Satterthwaite degrees of freedom, and by how many standard deviations the interval reaches out."""
    whole = parts[0] + parts[1] + other
    with np.errstate(invalid="ignore", divide="ignore"):
        dof = whole**2 / (parts[0] ** 2 / dofs[0] + parts[1] ** 2 / dofs[1])
        dof = np.where(whole == 0.0, dofs[0] + dofs[1], dof)
        critical = two_sided_95(dof)
        if plan.is_lopsided:
            cautious = (
                parts[0] * two_sided_95(dofs[0]) + parts[1] * two_sided_95(dofs[1]) + other * two_sided_95(np.inf)
            )
            critical = np.where(whole == 0.0, critical, 0.5 * (critical + cautious / whole))
    return dof, critical
