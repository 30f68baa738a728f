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

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.measure.corners import CORNER_COSTS, candidates, placed, two_as_one
from pullbook.measure.curveparts import Array
from pullbook.measure.leastsquares import BENDS, Problem, bent_by, half_log_determinant, held_inverse
from pullbook.measure.localfit import local_fit

_CONTRAST = np.array([-0.5, -0.5, 1.0, 1.0, -0.5, -0.5])
_UNUSUAL = 4.5  # of the mean bend; curves without corners mostly stay below, those with up to six above
_UNLIKELY = 2.2  # standard deviations
_NEIGHBOURS = np.hanning(9)[1:-1] / np.hanning(9)[1:-1].sum()


@dataclass(frozen=True)
class Bent:
    """The fitted torque (per inertia, rad/s²) against roller speed, with what is needed to read it anywhere."""

    low_rad_s: float
    span_rad_s: float
    corners: Array  # as parts of the range, 0 to 1
    corners_rad_s: Array  # those that are told of
    line: Array  # the two coefficients of the straight line
    weights: Array  # corners first, then bends
    deviation: Array  # of the torque, from the noise of the samples, at each of `speed_rad_s`
    scatter: Array  # the same, were it known which corners there are and where
    scale: float
    speed_rad_s: Array  # at which it was fitted
    bend_variance: Array  # that each bend was held by: prior variance of its weight

    def value(self, omega_rad_s: Array) -> Array:
        """Total torque over inertia, rad/s², at these speeds."""
        part = (omega_rad_s - self.low_rad_s) / self.span_rad_s
        free = len(self.corners)
        made: Array = self.line[0] + self.line[1] * part + bent_by(self.weights[free:], part)
        if free:
            made += self.weights[:free] @ np.maximum(part - self.corners[:, None], 0.0)
        made *= self.scale
        return made


@dataclass(frozen=True)
class _Solved:
    """A curve with these corners: `raw` and `rows` are what they gain, before and after the straight line's part."""

    corners: Array
    raw: Array
    rows: Array
    weights: Array
    inverse: Array
    prior: Array

    def evidence(self, problem: Problem) -> float:
        """Log evidence, apart from what is common to all."""
        free = len(self.corners)
        bends, variance = self.weights[free:], self.prior
        over = problem.left - bends @ problem.bends - self.weights[:free] @ self.rows
        spent = float(over @ over + np.sum(bends**2 / variance)) / problem.variance
        return -0.5 * spent - half_log_determinant(problem.normal, variance) - CORNER_COSTS * free


def _solved(problem: Problem, corners: Array, prior: Array, rounds: int) -> _Solved:
    """The curve with these corners; the prior variance of each bend learnt from what it was seen to do, shared among
    neighbours."""
    free = len(corners)
    normal, side = problem.normal, problem.side
    raw = rows = problem.bends[:0]
    if free:
        raw = problem.corner_rows(corners)
        rows = problem.cleared(raw)
        across = rows @ problem.bends.T
        normal = np.empty((free + BENDS, free + BENDS))
        normal[:free, :free], normal[:free, free:] = rows @ rows.T, across
        normal[free:, :free], normal[free:, free:] = across.T, problem.normal
        side = np.concatenate([rows @ problem.left, problem.side])
    inverse = held_inverse(normal, prior)
    weights = inverse @ side
    for _ in range(rounds):
        did = weights[free:] ** 2 / problem.variance
        known = np.minimum(np.maximum(1.0 - inverse.diagonal()[free:] / prior, 1e-6), 1.0)
        prior = np.minimum(np.maximum(shared(did) / shared(known), prior * 1e-2), prior * 1e2)
        inverse = held_inverse(normal, prior)
        weights = inverse @ side
    return _Solved(corners, raw, rows, weights, inverse, prior)


def shared(values: Array) -> Array:
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
    best = _solved(problem, np.zeros(0), np.full(BENDS, problem.loose), 1)
    if _perhaps_sharp(best, variance):
        best = _with_corners(problem, best)
    return _told(problem, best, step_s)


def _perhaps_sharp(smooth: _Solved, variance: float) -> bool:
    """Whether two neighbouring bends do much more than the two on either side of them: more than is usual for a curve
    without corners, or more than noise explains. Only then is it worth looking for corners."""
    weights = smooth.weights
    stands_out = np.abs(np.convolve(weights, _CONTRAST, "valid"))
    most = int(stands_out.argmax())
    if stands_out[most] > _UNUSUAL / BENDS * np.add.reduce(np.abs(weights)):
        return True
    around = smooth.inverse[most : most + len(_CONTRAST), most : most + len(_CONTRAST)]
    return bool(stands_out[most] > _UNLIKELY * (variance * float(_CONTRAST @ around @ _CONTRAST)) ** 0.5)


def _with_corners(problem: Problem, smooth: _Solved) -> _Solved:
    """The curve with the corners that the evidence speaks for; as it was where it speaks for none."""
    best, evidence = smooth, smooth.evidence(problem)
    corners = candidates(problem)
    if len(corners):
        corners = placed(problem, corners, evidence)
    while len(corners):
        found = _solved(problem, corners, np.full(BENDS, problem.stiff), 2)
        reached = found.evidence(problem)
        if reached > evidence:
            best, evidence = found, reached
        corners = two_as_one(problem, corners, found.weights, evidence)
    return best


def _told(problem: Problem, best: _Solved, step_s: float) -> Bent:
    skip, solve, free = problem.derivative, problem.fixed_inverse, len(best.corners)
    raw, shapes = problem.bends_raw, problem.shapes
    if free:
        raw = np.concatenate([best.raw, raw])
        shapes = np.concatenate([np.maximum(problem.part - best.corners[:, None], 0.0), shapes])
    gives_way = (solve @ (problem.fixed @ raw.T))[skip:]
    line = (solve @ (problem.fixed @ problem.gained))[skip:] - gives_way @ best.weights
    scale = (step_s / problem.step) ** -skip
    straight = np.empty((2, len(problem.part)))
    straight[0], straight[1] = 1.0, problem.part
    moved = shapes - gives_way.T @ straight
    moved *= best.inverse @ moved
    variance = np.add.reduce(moved) + np.add.reduce(straight * (solve[skip:, skip:] @ straight))
    deviation = np.sqrt(np.maximum(variance * problem.variance, 0.0)) * scale
    return Bent(
        low_rad_s=problem.low,
        span_rad_s=problem.span,
        corners=best.corners,
        corners_rad_s=problem.low + problem.span * best.corners,
        line=line,
        weights=best.weights,
        deviation=deviation,
        scatter=deviation,
        scale=scale,
        speed_rad_s=problem.low + problem.span * problem.part,
        bend_variance=best.prior * problem.variance,
    )


def smooth_speed(values: Array, step_s: float, derivative: int) -> Array:
    """Roller speed on blocks, rad/s: a short local fit to speed or angle, to say where on the curve it is."""
    half = max(2, min(len(values) // 8, 5 if derivative == 1 else 6))
    speed = local_fit(values, half, 2, 0) if derivative == 1 else local_fit(values, half, 3, 1) / step_s
    return speed
