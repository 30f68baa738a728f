"""Torque against roller speed, as stiff or as free as each part of a sweep asks for, with sharp corners found.

An engine's torque belongs to a speed, so the fit is made against speed: what the roller gains up to a moment is the
time integral of the torque at the speeds it has passed, which is linear in the curve sought. The curve is a straight
line, plus softened bends on an even base of speeds (the integral of each is one row of a least-squares problem), plus
a few sharp corners where the data insist on them.

* How much each bend may do is learnt from the data: every bend has a prior variance, set by repeated re-estimation
  (MacKay 1992) shared among neighbours, so that a flat stretch is read with a wide window and a steep one with a narrow one.
* Corners are looked for among the bends by their auxiliary residuals (de Jong and Penzer 1998), placed by Gauss–Newton
  steps, dropped when they do not pay, and kept as a whole only if the evidence for the curve with them is the greater.

It is the local polynomial fit with a width that varies along the sweep: `local_width_s` says how wide. Same input, same bits.
"""

from dataclasses import dataclass

import numpy as np

from pullbook.measure.localfit import local_fit
from pullbook.measure.results import Array

_BENDS = 30
_SOFT = 1.0  # half width of a bend, in spacings
_NEIGHBOURS = np.hanning(9)[1:-1] / np.hanning(9)[1:-1].sum()
_CORNER_PAYS = 20.0  # chi-square that a corner has to save: two unknowns, and many places to have looked at
_MOST_CORNERS = 8
_PLACING_ROUNDS = 3
_LEAST_APART = 0.012  # of the range


@dataclass(frozen=True)
class Bent:
    """The fitted torque (per inertia, rad/s²) as a function of roller speed, with what is needed to read it anywhere."""

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
        return line, np.concatenate([np.maximum(part - self.corners[:, None], 0.0), _soft_bends(part)])

    def value(self, omega_rad_s: Array) -> Array:
        """Total torque over inertia, rad/s², at these speeds."""
        line, shapes = self._shapes(omega_rad_s)
        made: Array = (self.line @ line + self.weights @ shapes) * self.scale
        return made

    def deviation(self, omega_rad_s: Array) -> Array:
        """Standard deviation of `value` from the noise of the samples."""
        line, shapes = self._shapes(omega_rad_s)
        free = shapes - self.line_from_weights.T @ line
        variance = np.einsum("ig,ij,jg->g", free, self.covariance, free)
        variance += np.einsum("ig,ij,jg->g", line, self.line_covariance, line)
        made: Array = np.sqrt(np.maximum(variance, 0.0)) * self.scale
        return made


def _spacing() -> Array:
    return (np.arange(_BENDS) + 0.5) / _BENDS


def _soft_bends(part: Array) -> Array:
    """Bends whose corner is rounded over two spacings: zero before, a parabola across, a straight line after."""
    half = _SOFT / _BENDS
    rise = np.maximum((part - _spacing()[:, None]) * (0.5 / half) + 0.5, 0.0)
    made: Array = np.where(rise < 1.0, rise * rise, 2.0 * rise - 1.0) * half
    return made


class _Problem:
    """The least-squares problem of one sweep, the straight line taken out of everything beforehand."""

    def __init__(self, gained: Array, speed: Array, derivative: int, variance: float) -> None:
        self.derivative, self.variance = derivative, variance
        self.low, self.span = float(speed[0]), float(speed[-1] - speed[0])
        self.part = (speed - self.low) / self.span
        self.gained = gained - gained.mean()
        count = len(speed)
        self.step = 1.0 / (count - 1)
        time = np.linspace(0.0, 1.0, count)
        line = self._integral(np.stack([np.ones(count), self.part]))
        starts = np.stack([np.ones(count), time][:derivative])
        self.fixed = np.concatenate([starts, line])
        self.frame = np.linalg.qr(self.fixed.T)[0].T
        self.left = self._cleared(self._cleared(self.gained))
        self.bends_raw = self._integral(_soft_bends(self.part))
        self.bends = self._cleared(self.bends_raw)
        self.normal = self.bends @ self.bends.T
        self.side = self.bends @ self.left
        self.usual = float(np.trace(self.normal)) / _BENDS

    def _integral(self, rows: Array) -> Array:
        for _ in range(self.derivative):
            summed = np.zeros_like(rows)
            np.cumsum(rows[:, 1:] + rows[:, :-1], axis=1, out=summed[:, 1:])
            rows = summed * (0.5 * self.step)
        return rows

    def _cleared(self, rows: Array) -> Array:
        made: Array = rows - (rows @ self.frame.T) @ self.frame
        return made

    def corner_rows(self, corners: Array) -> Array:
        return self._integral(np.maximum(self.part - corners[:, None], 0.0))

    def with_rows(self, raw: Array) -> tuple[Array, Array, Array]:
        """Rows added before the bends: the cleared rows, the normal matrix and its right side."""
        rows = self._cleared(raw)
        across = rows @ self.bends.T
        normal = np.block([[rows @ rows.T, across], [across.T, self.normal]])
        return rows, normal, np.concatenate([rows @ self.left, self.side])

    def shift_rows(self, corners: Array, weights: Array) -> Array:
        """How the gained speed changes as each corner moves to the right."""
        return self._integral((self.part > corners[:, None]) * -weights[:, None])


def _inverse(normal: Array, free: int, prior: Array) -> Array:
    stiff = normal.copy()
    at = np.arange(free, len(normal))
    stiff[at, at] += 1.0 / prior
    made: Array = np.linalg.inv(stiff)
    return made


def _learn(problem: _Problem, normal: Array, side: Array, free: int, prior: Array, rounds: int) -> Array:
    """The prior variance of each bend from what it was seen to do, shared among neighbours."""
    reach = len(_NEIGHBOURS) // 2
    for _ in range(rounds):
        inverse = _inverse(normal, free, prior)
        did = (inverse @ side)[free:] ** 2 / problem.variance
        known = np.clip(1.0 - np.diagonal(inverse)[free:] / prior, 1e-6, 1.0)
        shared = [np.convolve(np.pad(v, reach, mode="symmetric"), _NEIGHBOURS, "valid") for v in (did, known)]
        prior = np.clip(shared[0] / shared[1], prior * 1e-2, prior * 1e2)
    return prior


def _evidence(problem: _Problem, rows: Array, normal: Array, side: Array, prior: Array) -> tuple[float, Array, Array]:
    """Log evidence (what corners cost comes off elsewhere), the weights, and the inverse."""
    free = len(rows)
    inverse = _inverse(normal, free, prior)
    weights = inverse @ side
    over = problem.left - weights[free:] @ problem.bends - weights[:free] @ rows
    spent = float(over @ over + np.sum(weights[free:] ** 2 / prior)) / problem.variance
    stiff = normal[free:, free:].copy()
    at = np.arange(_BENDS)
    stiff[at, at] += 1.0 / prior
    root = np.diagonal(np.linalg.cholesky(stiff))
    return -0.5 * spent - float(np.sum(np.log(root)) + 0.5 * np.sum(np.log(prior))), weights, inverse


def _candidates(problem: _Problem, prior: float) -> Array:
    """Bends set free one after another while one stands out: first places for corners."""
    inverse = _inverse(problem.normal, 0, np.full(_BENDS, prior))
    weights = inverse @ problem.side
    taken: list[int] = []
    while len(taken) < _MOST_CORNERS:
        room = np.maximum(prior - np.diagonal(inverse), 1e-6 * prior)
        stands_out = weights**2 / room / problem.variance
        stands_out[taken] = 0.0
        best = int(stands_out.argmax())
        if stands_out[best] < _CORNER_PAYS:
            break
        column = inverse[:, best].copy()
        pull = 1.0 / prior / (1.0 - column[best] / prior)
        weights = weights + column * (pull * weights[best])
        inverse = inverse + np.outer(column * pull, column)
        taken.append(best)
    return _spacing()[np.sort(np.array(taken, dtype=np.int64))]


def _placed(problem: _Problem, corners: Array, prior: Array) -> Array:
    """Corners that pay, moved to where they fit best."""
    for turn in range(_PLACING_ROUNDS + 1):
        corners, weights = _paying(problem, corners, prior)
        if turn == _PLACING_ROUNDS or len(corners) == 0:
            break
        many = len(corners)
        raw = np.concatenate([problem.corner_rows(corners), problem.shift_rows(corners, weights[:many])])
        _, normal, side = problem.with_rows(raw)
        at = np.arange(many, 2 * many)
        normal[at, at] *= 1.0 + 1e-9
        moves = (_inverse(normal, 2 * many, prior) @ side)[many : 2 * many]
        corners = _apart(np.sort(np.clip(corners + np.clip(moves, -0.015, 0.015), 0.01, 0.99)))
    return corners


def _paying(problem: _Problem, corners: Array, prior: Array) -> tuple[Array, Array]:
    weights = np.zeros(0)
    while len(corners):
        _, normal, side = problem.with_rows(problem.corner_rows(corners))
        inverse = _inverse(normal, len(corners), prior)
        weights = inverse @ side
        saves = weights[: len(corners)] ** 2 / np.diagonal(inverse)[: len(corners)] / problem.variance
        least = int(saves.argmin())
        if saves[least] > _CORNER_PAYS:
            break
        corners = np.delete(corners, least)
    return corners, weights


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


def fit_bends(gained: Array, speed_rad_s: Array, step_s: float, derivative: int, variance: float) -> Bent:
    """Fit the torque over inertia of one sweep.

    `gained`: roller speed in rad/s (derivative 1) or angle in rad (derivative 2) with the brake's share already added,
    on a uniform base of `step_s`; `speed_rad_s`: rising roller speed there; `variance`: of the noise on `gained`.
    """
    problem = _Problem(gained, speed_rad_s, derivative, variance)
    none = np.zeros((0, len(gained)))
    prior = _learn(problem, problem.normal, problem.side, 0, np.full(_BENDS, 1e3 / problem.usual), 5)
    best, weights, inverse = _evidence(problem, none, problem.normal, problem.side, prior)
    raw, corners = none, np.zeros(0)
    stiff = np.full(_BENDS, 1.0 / problem.usual)
    found = _placed(problem, _candidates(problem, 1.0 / problem.usual), stiff)
    if len(found):
        raw_found = problem.corner_rows(found)
        rows, normal, side = problem.with_rows(raw_found)
        prior = _learn(problem, normal, side, len(found), stiff, 3)
        evidence, weights_found, inverse_found = _evidence(problem, rows, normal, side, prior)
        if evidence - 0.5 * _CORNER_PAYS * len(found) > best:
            raw, corners, weights, inverse = raw_found, found, weights_found, inverse_found
    return _told(problem, raw, corners, weights, inverse, step_s)


def _told(problem: _Problem, raw: Array, corners: Array, weights: Array, inverse: Array, step_s: float) -> Bent:
    shapes = np.concatenate([raw, problem.bends_raw])
    solve = np.linalg.inv(problem.fixed @ problem.fixed.T)
    gives_way = solve @ (problem.fixed @ shapes.T)
    line = solve @ (problem.fixed @ (problem.gained - weights @ shapes))
    skip = problem.derivative
    lasting = step_s / problem.step
    return Bent(
        low_rad_s=problem.low,
        span_rad_s=problem.span,
        corners=corners,
        line=line[skip:],
        weights=weights,
        covariance=inverse * problem.variance,
        line_covariance=solve[skip:, skip:] * problem.variance,
        line_from_weights=gives_way[skip:],
        scale=lasting**-skip,
    )


def smooth_speed(values: Array, step_s: float, derivative: int) -> Array:
    """Rising roller speed on blocks, rad/s: a short local fit to speed or angle, enough to say where on the curve it is."""
    half = max(2, min(len(values) // 8, 5 if derivative == 1 else 6))
    speed = local_fit(values, half, 2, 0) if derivative == 1 else local_fit(values, half, 3, 1) / step_s
    return np.maximum.accumulate(speed)
