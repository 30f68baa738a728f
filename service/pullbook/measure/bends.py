"""Torque against roller speed, as stiff or as free as each part of a sweep asks for, with sharp corners found.

An engine's torque belongs to a speed, so the fit is made against speed: what the roller gains up to a moment is the
time integral of the torque at the speeds it has passed, which is linear in the curve sought. The curve is a straight
line, plus softened bends on an even base of speeds (the integral of each is one row of a least-squares problem), plus
a few sharp corners where the data insist on them.

* How much each bend may do is learnt from the data: every bend has a prior variance, re-estimated (MacKay 1992) and
  shared among neighbours, so that a flat stretch is read with a wide window and a steep one with a narrow one.
* Corners are looked for among the bends by their auxiliary residuals (de Jong and Penzer 1998), placed by Gauss–Newton
  steps, dropped when they do not pay, and kept only if the evidence for the curve with them is the greater.

It is a local polynomial fit whose width varies along the sweep. Same input, same bits.
"""

from dataclasses import dataclass

import numpy as np

from pullbook.measure.corners import CORNER_COSTS, candidates, placed, two_as_one
from pullbook.measure.curveparts import Array
from pullbook.measure.leastsquares import BENDS, Problem, half_log_determinant, held_inverse, soft_bends
from pullbook.measure.localfit import local_fit

_NEIGHBOURS = np.hanning(9)[1:-1] / np.hanning(9)[1:-1].sum()


@dataclass(frozen=True)
class Bent:
    """The fitted torque (per inertia, rad/s²) against roller speed, with what is needed to read it anywhere."""

    low_rad_s: float
    span_rad_s: float
    corners: Array  # as parts of the range, 0 to 1
    line: Array  # the two coefficients of the straight line
    weights: Array  # corners first, then bends
    covariance: Array  # of the weights
    line_covariance: Array
    line_from_weights: Array  # how the line gives way to each weight
    scale: float

    def _shapes(self, omega_rad_s: Array) -> tuple[Array, Array]:
        part = (omega_rad_s - self.low_rad_s) / self.span_rad_s
        line = np.stack([np.ones_like(part), part])
        return line, np.concatenate([np.maximum(part - self.corners[:, None], 0.0), soft_bends(part)])

    def value(self, omega_rad_s: Array) -> Array:
        """Total torque over inertia, rad/s², at these speeds."""
        line, shapes = self._shapes(omega_rad_s)
        made: Array = (self.line @ line + self.weights @ shapes) * self.scale
        return made

    def deviation(self, omega_rad_s: Array) -> Array:
        """Standard deviation of `value` from the noise of the samples."""
        line, shapes = self._shapes(omega_rad_s)
        free = shapes - self.line_from_weights.T @ line
        variance = np.sum(free * (self.covariance @ free), axis=0)
        variance += np.sum(line * (self.line_covariance @ line), axis=0)
        made: Array = np.sqrt(np.maximum(variance, 0.0)) * self.scale
        return made


@dataclass(frozen=True)
class _Solved:
    """A curve with its evidence (log, apart from what is common to all)."""

    evidence: float
    corners: Array
    raw: Array
    weights: Array
    inverse: Array


def _solved(problem: Problem, corners: Array, prior: Array, rounds: int) -> _Solved:
    """The curve with these corners; the prior variance of each bend learnt from what it was seen to do, shared among
    neighbours."""
    free = len(corners)
    raw = problem.corner_rows(corners) if free else np.zeros((0, len(problem.part)))
    rows = problem.cleared(raw) if free else raw
    normal, side = problem.normal, problem.side
    if free:
        across = rows @ problem.bends.T
        normal = np.empty((free + BENDS, free + BENDS))
        normal[:free, :free], normal[:free, free:] = rows @ rows.T, across
        normal[free:, :free], normal[free:, free:] = across.T, problem.normal
        side = np.concatenate([rows @ problem.left, problem.side])
    inverse = held_inverse(normal, prior)
    weights = inverse @ side
    for _ in range(rounds):
        did = weights[free:] ** 2 / problem.variance
        known = np.clip(1.0 - np.diagonal(inverse)[free:] / prior, 1e-6, 1.0)
        prior = np.clip(_shared(did) / _shared(known), prior * 1e-2, prior * 1e2)
        inverse = held_inverse(normal, prior)
        weights = inverse @ side
    over = problem.left - weights[free:] @ problem.bends - weights[:free] @ rows
    spent = float(over @ over + np.sum(weights[free:] ** 2 / prior)) / problem.variance
    evidence = -0.5 * spent - half_log_determinant(problem.normal, prior) - CORNER_COSTS * free
    return _Solved(evidence, corners, raw, weights, inverse)


def _shared(values: Array) -> Array:
    """Each with its neighbours, mirrored at the ends."""
    reach = len(_NEIGHBOURS) // 2
    mirrored = np.concatenate([values[reach - 1 :: -1], values, values[: -reach - 1 : -1]])
    return np.convolve(mirrored, _NEIGHBOURS, "valid")


def fit_bends(gained: Array, speed_rad_s: Array, step_s: float, derivative: int, variance: float) -> Bent:
    """Fit the torque over inertia of one sweep.

    `gained`: roller speed in rad/s (derivative 1) or angle in rad (derivative 2) with the brake's share already added,
    on a uniform base of `step_s`; `speed_rad_s`: rising roller speed there; `variance`: of the noise on `gained`.
    """
    problem = Problem(gained, speed_rad_s, derivative, variance)
    best = _solved(problem, np.zeros(0), np.full(BENDS, problem.loose), 3)
    corners = candidates(problem)
    if len(corners):
        corners = placed(problem, corners, best.evidence)
    while len(corners):
        found = _solved(problem, corners, np.full(BENDS, problem.stiff), 3)
        best = max(best, found, key=lambda one: one.evidence)
        corners = two_as_one(problem, corners, found.weights, best.evidence)
    return _told(problem, best, step_s)


def _told(problem: Problem, best: _Solved, step_s: float) -> Bent:
    shapes = np.concatenate([best.raw, problem.bends_raw])
    solve = np.linalg.inv(problem.fixed @ problem.fixed.T)
    line = solve @ (problem.fixed @ (problem.gained - best.weights @ shapes))
    skip = problem.derivative
    return Bent(
        low_rad_s=problem.low,
        span_rad_s=problem.span,
        corners=best.corners,
        line=line[skip:],
        weights=best.weights,
        covariance=best.inverse * problem.variance,
        line_covariance=solve[skip:, skip:] * problem.variance,
        line_from_weights=(solve @ (problem.fixed @ shapes.T))[skip:],
        scale=(step_s / problem.step) ** -skip,
    )


def smooth_speed(values: Array, step_s: float, derivative: int) -> Array:
    """Roller speed on blocks, rad/s: a short local fit to speed or angle, to say where on the curve it is."""
    half = max(2, min(len(values) // 8, 5 if derivative == 1 else 6))
    speed = local_fit(values, half, 2, 0) if derivative == 1 else local_fit(values, half, 3, 1) / step_s
    return speed
