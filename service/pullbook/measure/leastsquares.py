"""The least-squares problem behind `bends`: what each bend or corner of torque has gained the roller by each moment."""

from functools import cached_property

import numpy as np

from pullbook.measure.curveparts import Array

BENDS = 30
SPACING: Array = (np.arange(BENDS) + 0.5) / BENDS  # where the bends lie, as parts of the range of speed
_SOFT = 1.0  # half width of a bend, in spacings


def soft_bends(part: Array) -> Array:
    """Bends whose corner is rounded over two spacings: zero before, a parabola across, a straight line after."""
    half = _SOFT / BENDS
    rise = np.maximum((part - SPACING[:, None]) * (0.5 / half) + 0.5, 0.0)
    across = np.minimum(rise, 1.0)
    made: Array = across * (rise + rise - across)  # rise² across the bend, 2·rise − 1 beyond it
    made *= half
    return made


def bent_by(weights: Array, part: Array) -> Array:
    """What all the bends do together, from 0 to 1: a parabola in each spacing, whose curvature two bends share."""
    curve, slope, value = np.zeros(BENDS + 1), np.zeros(BENDS + 1), np.zeros(BENDS + 1)
    curve[:-1] = weights
    curve[1:] += weights
    curve *= 0.25 / BENDS
    np.cumsum(2.0 * curve[:-1], out=slope[1:])
    np.cumsum(slope[:-1] + curve[:-1], out=value[1:])
    beyond = part * BENDS + 0.5
    cell = np.minimum(np.maximum(beyond, 0.0), float(BENDS)).astype(np.intp)
    beyond -= cell
    made: Array = value[cell] + beyond * (slope[cell] + beyond * curve[cell])
    return made


class Problem:
    """The least-squares problem of one sweep, the straight line taken out of everything beforehand."""

    def __init__(self, gained: Array, speed: Array, derivative: int, variance: float) -> None:
        self.derivative, self.variance = derivative, variance
        self.low, self.span = float(speed[0]), float(speed[-1] - speed[0])
        self.part = (speed - self.low) / self.span
        count = len(speed)
        self.step = 1.0 / (count - 1)
        self.gained = gained - np.add.reduce(gained) / count
        self.shapes = soft_bends(self.part)
        self.fixed, self.bends_raw = self._gained_by_each(count)
        self.fixed_inverse: Array = np.asarray(np.linalg.inv(self.fixed @ self.fixed.T), np.float64)
        self.left = self.cleared(self.cleared(self.gained))
        self.bends = self.cleared(self.bends_raw)
        self.normal = self.bends @ self.bends.T
        self.side = self.bends @ self.left
        usual = float(np.add.reduce(self.normal.ravel()[:: BENDS + 1])) / BENDS
        self.loose, self.stiff = 1e3 / usual, 1.0 / usual

    def _gained_by_each(self, count: int) -> tuple[Array, Array]:
        """What start and straight line have gained by each moment, and what each bend has."""
        torque = np.empty((2 + BENDS, count))
        torque[0], torque[1], torque[2:] = 1.0, self.part, self.shapes
        rows = self.integral(torque)
        fixed = np.empty((self.derivative + 2, count))
        fixed[0] = 1.0
        if self.derivative > 1:
            fixed[1] = self.step * np.arange(count)
        fixed[self.derivative :] = rows[:2]
        return fixed, rows[2:]

    @cached_property
    def stiff_inverse(self) -> Array:
        """Of the normal matrix, every bend held stiffly."""
        return held_inverse(self.normal, np.full(BENDS, self.stiff))

    @cached_property
    def stiff_weights(self) -> Array:
        """What the bends do when all are held stiffly."""
        made: Array = self.stiff_inverse @ self.side
        return made

    @cached_property
    def stiff_alone(self) -> float:
        """Log evidence of stiff bends and no corners."""
        over = float(self.left @ self.left - self.side @ self.stiff_weights)
        return -0.5 * over / self.variance - half_log_determinant(self.normal, np.full(BENDS, self.stiff))

    def integral(self, rows: Array) -> Array:
        """Time integral of each row by trapezoids, as many times as the data are integrals of the torque."""
        for _ in range(self.derivative):
            summed = np.empty_like(rows)
            summed[:, 0] = 0.0
            np.add(rows[:, 1:], rows[:, :-1], out=summed[:, 1:])
            rows = np.add.accumulate(summed, axis=1, out=summed)
            rows *= 0.5 * self.step
        return rows

    def cleared(self, rows: Array) -> Array:
        """Rows less what the straight line can do for them."""
        made: Array = rows - (rows @ self.fixed.T @ self.fixed_inverse) @ self.fixed
        return made

    def corner_rows(self, corners: Array) -> Array:
        """What a unit of each corner gains."""
        return self.integral(np.maximum(self.part - corners[:, None], 0.0))

    def corners_and_shifts(self, corners: Array) -> tuple[Array, Array]:
        """Normal matrix and right side of a unit of each corner, then of each corner's move to the right, once stiff
        bends have had their say."""
        beyond = self.part - corners[:, None]
        raw = np.concatenate([np.maximum(beyond, 0.0), beyond > 0.0])
        rows = self.cleared(self.integral(raw))
        across = rows @ self.bends.T
        return rows @ rows.T - across @ self.stiff_inverse @ across.T, rows @ self.left - across @ self.stiff_weights

    def stiff_evidence(self, saved: float) -> float:
        """Log evidence of stiff bends together with corners that save so much of the sum of squares."""
        return self.stiff_alone + 0.5 * saved / self.variance


def held_inverse(normal: Array, prior: Array) -> Array:
    """Inverse of the normal matrix, each of the last unknowns held by its prior variance."""
    held = normal.copy()
    held.ravel()[(len(normal) - len(prior)) * (len(normal) + 1) :: len(normal) + 1] += 1.0 / prior
    return np.asarray(np.linalg.inv(held), np.float64)


def half_log_determinant(normal: Array, prior: Array) -> float:
    """Half the logarithm of what the data add to the bends' prior precision."""
    held = normal.copy()
    held.ravel()[:: len(normal) + 1] += 1.0 / prior
    return float(np.log(np.diagonal(np.linalg.cholesky(held))).sum() + 0.5 * np.log(prior).sum())
