"""Where torque bends sharply: corners looked for, placed, and dropped when they do not pay.

First places come from the auxiliary residuals of stiff bends (de Jong and Penzer 1998); Gauss–Newton steps then move
the corners to where they fit best.
"""

import numpy as np

from pullbook.measure.curveparts import Array, Indices
from pullbook.measure.leastsquares import SPACING, Problem

_CORNER_PAYS = 14.0  # chi-square that a corner has to save: two unknowns, and many places to have looked at
CORNER_COSTS = 6.0  # log evidence for each corner that the curve as a whole must gain
_MOST_CORNERS = 8
_PLACING_ROUNDS = 8
_AT_REST = 0.2  # log evidence: corners whose move gains less have found their place
_NEARLY = 4.0  # log evidence: what lacks no more than this may still be won
_HOPE = 0.08  # of what is still lacking, that a move has to gain
_LEAST_HOPE = 2.5  # and at the least so much
_PERHAPS_ONE = 0.05  # two corners nearer than this part of the range are also tried as one
_FARTHEST = 0.015  # of the range, in one round
_LEAST_APART = 0.012  # of the range


def candidates(problem: Problem) -> Array:
    """Stiff bends set free one after another while one stands out: first places for corners."""
    inverse, weights, prior = problem.stiff_inverse, problem.stiff_weights, problem.stiff
    taken: list[int] = []
    while len(taken) < _MOST_CORNERS:
        room = np.maximum(prior - np.diagonal(inverse), 1e-6 * prior)
        stands_out = weights * weights / room
        stands_out[taken] = 0.0
        best = int(stands_out.argmax())
        if stands_out[best] < _CORNER_PAYS * problem.variance:
            break
        column = inverse[:, best].copy()
        pull = 1.0 / prior / (1.0 - column[best] / prior)
        weights = weights + column * (pull * weights[best])
        inverse = inverse + (column * pull)[:, None] * column
        taken.append(best)
    return SPACING[np.sort(np.array(taken, dtype=np.int64))]


def placed(problem: Problem, corners: Array, to_beat: float) -> Array:
    """Corners that pay, moved to where they fit best; none where, at rest, they are far from beating what is there.

    `to_beat`: the log evidence of the curve without them.
    """
    evidence, many = -np.inf, -1
    for _ in range(_PLACING_ROUNDS):
        normal, side = problem.corners_and_shifts(corners)
        weights, keep = _paying(problem, normal, side)
        if len(keep) == 0:
            return corners[keep]
        before, evidence = evidence, problem.stiff_evidence(float(weights @ side[keep])) - CORNER_COSTS * len(keep)
        gained, settled = evidence - before, len(keep) == many
        corners, many = corners[keep], len(keep)
        if settled and gained < _AT_REST:
            break
        lacking = to_beat - evidence
        if settled and lacking > _NEARLY and gained < max(_HOPE * lacking, _LEAST_HOPE):
            return corners[:0]
        both = np.concatenate([keep, keep + len(side) // 2])
        turned = np.concatenate([np.ones(many), -weights])
        normal = normal[both[:, None], both] * (turned[:, None] * turned)
        normal.ravel()[:: 2 * many + 1] *= 1.0 + 1e-9
        moves = np.linalg.solve(normal, side[both] * turned)[many:]
        corners = _apart(np.sort(np.clip(corners + np.clip(moves, -_FARTHEST, _FARTHEST), 0.01, 0.99)))
    return corners


def _paying(problem: Problem, normal: Array, side: Array) -> tuple[Array, Indices]:
    """Without the corners that save too little, worst first: the weights of the rest, and which they are."""
    keep = np.arange(len(side) // 2)
    weights = np.zeros(0)
    while len(keep):
        inverse = np.linalg.inv(normal[keep[:, None], keep])
        weights = inverse @ side[keep]
        saves = weights * weights / np.diagonal(inverse)
        least = int(saves.argmin())
        if saves[least] > _CORNER_PAYS * problem.variance:
            break
        keep = np.delete(keep, least)
    return weights[: len(keep)], keep


def _apart(corners: Array) -> Array:
    """Two corners closer than can be told apart become one."""
    while len(corners) > 1:
        gaps = np.diff(corners)
        least = int(gaps.argmin())
        if gaps[least] > _LEAST_APART:
            break
        corners[least] = 0.5 * (corners[least] + corners[least + 1])
        corners = np.delete(corners, least + 1)
    return corners


def two_as_one(problem: Problem, corners: Array, weights: Array, to_beat: float) -> Array:
    """The same corners with the closest two as one, placed again; none where no two are close."""
    if len(corners) < 2:
        return np.zeros(0)
    left = int(np.diff(corners).argmin())
    if corners[left + 1] - corners[left] > _PERHAPS_ONE:
        return np.zeros(0)
    shares = np.abs(weights[left : left + 2]) + 1e-300
    merged = np.delete(corners, left + 1)
    merged[left] = float(shares @ corners[left : left + 2] / shares.sum())
    return placed(problem, merged, to_beat)
