"""What a signal that strays slowly by itself does to what is fitted to it: seen in what the fit leaves.

The mixture is not quite as commanded, and by how much changes over a second or so. To the fit that is part lateness.
So what is left is parted into noise from sample to sample and a stray that keeps for about a second (a Gaussian
process; its size by moments, with what the fit has taken up of it allowed for, as in restricted maximum likelihood:
Patterson and Thompson 1971, Biometrika 58, 545; from memory). A short record shows few strays and so tells their size
badly; Student's factor for that many is in the figure. Where nothing strays, nothing is added. A stray that looks just
like what is fitted is taken up whole and leaves no trace: over a single slope the figure is too small.
"""

import numpy as np

from pullbook.measure.curveparts import Array
from pullbook.measure.studentt import two_sided_95

_KEEPS_S = 1.2  # how long a stray keeps, as the deviation of its correlation: waves of some 4 to 12 s
_BLOCK_S = 0.2
_MOST_BLOCKS = 100
_FEWEST_BLOCKS = 8


def strayed_u(when: Array, gap: Array, weight: Array, slopes: Array, normal: Array, wanted: Array) -> float:
    """Standard uncertainty that straying gives the fitted `wanted` · parameters, in their unit.

    `when` (rows,) s; `gap` (rows,) what the fit leaves; `weight` (rows,) of each in the fit, one over its variance;
    `slopes` (parameters, rows) of the model; `normal` (parameters, parameters) matrix that was solved, prior included;
    `wanted` (parameters,) which sum of them is asked.
    """
    part = np.floor((when - when[0]) / max(_BLOCK_S, float(np.ptp(when)) / _MOST_BLOCKS)).astype(np.intp)
    whole = np.bincount(part, weight)
    used = np.flatnonzero(whole > 0.0)
    if len(used) < _FEWEST_BLOCKS:
        return 0.0

    def mean(values: Array) -> Array:
        made: Array = np.bincount(part, values * weight)[used] / whole[used]
        return made

    at_s, left, model = mean(when), mean(gap), np.stack([mean(one) for one in slopes])
    share = whole[used]
    moved = np.linalg.solve(normal, model * share)  # of each parameter by each block
    remains = np.eye(len(used)) - model.T @ moved
    alike = np.exp(-0.5 * ((at_s[:, None] - at_s) / _KEEPS_S) ** 2)
    noise = _noise(gap, weight) * np.bincount(part, weight**2)[used] / share**2
    seen = share @ (left**2 - (remains**2) @ noise)
    shown = (remains @ alike @ remains.T) * np.sqrt(np.outer(share, share))
    by_one, by_block = float(np.trace(shown)), wanted @ moved
    if not seen > 0.0 or not by_one > 0.0:
        return 0.0
    strays_seen = by_one**2 / float(np.sum(shown**2))  # as many as would tell the size as well (Satterthwaite 1946)
    unsure = float(two_sided_95(max(strays_seen, 1.0))) / 1.96
    return unsure * float(np.sqrt(seen / by_one * (by_block @ alike @ by_block)))


def _noise(gap: Array, weight: Array) -> float:
    """Variance of a single sample, from the steps between neighbours that count."""
    near = np.minimum(weight[1:], weight[:-1])
    return 0.5 * float(np.average(np.diff(gap) ** 2, weights=near)) if float(near.sum()) > 0.0 else 0.0
