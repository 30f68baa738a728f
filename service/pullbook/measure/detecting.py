"""What so many pulls can show: the smallest difference seen nine times in ten, and how many would show a given one.

By the noncentral t distribution in its normal approximation (Abramowitz and Stegun 1964, 26.7.10, from memory), which
the tests hold against the exact one.
"""

from statistics import NormalDist

import numpy as np

from pullbook.measure.curveparts import Array
from pullbook.measure.studentt import two_sided_95

POWER = 0.9
MOST_FURTHER = 60  # pulls of each setup; more is no answer a day could use
_AT_POWER = NormalDist().inv_cdf(POWER)


def smallest_shown(standard_deviation: Array, dof: Array, critical: Array) -> Array:
    """The true difference whose interval leaves zero out nine times in ten, for one known to this deviation."""
    reach = critical * (1.0 - 0.25 / dof) + _AT_POWER * np.sqrt(1.0 + 0.5 * critical**2 / dof)
    made: Array = reach * standard_deviation
    return made


def further_pulls(
    wanted: float, scatters: tuple[float, float], counts: tuple[int, int], other_variance: float = 0.0
) -> int | None:
    """How many more pulls of each setup would show a difference of `wanted`, in the unit of the scatters; 0: none.

    None where it would take more than `MOST_FURTHER`, or where the variance from outside alone hides it.
    """
    more = np.arange(MOST_FURTHER + 1)
    variances = [scatter**2 / (count + more) for scatter, count in zip(scatters, counts, strict=True)]
    whole = variances[0] + variances[1] + other_variance
    known = sum(part**2 / (count + more - 1.0) for part, count in zip(variances, counts, strict=True))
    with np.errstate(divide="ignore", invalid="ignore"):
        dof = np.where(known > 0.0, whole**2 / known, np.inf)
    enough = np.flatnonzero(smallest_shown(np.sqrt(whole), dof, two_sided_95(dof)) <= wanted)
    return int(enough[0]) if enough.size else None
