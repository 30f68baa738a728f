"""The least-squares problem behind `bends`: what each bend or corner of torque has gained the roller by each moment."""

import numpy as np

from pullbook.measure.curveparts import Array

BENDS = 30
SPACING: Array = (np.arange(BENDS) + 0.5) / BENDS  # where the bends lie, as parts of the range of speed
_SOFT = 1.0  # half width of a bend, in spacings


def soft_bends(part: Array) -> Array:
    """Bends whose corner is rounded over two spacings: zero before, a parabola across, a straight line after."""
    half = _SOFT / BENDS
    rise = np.maximum((part - SPACING[:, None]) * (0.5 / half) + 0.5, 0.0)
    made: Array = np.where(rise < 1.0, rise * rise, 2.0 * rise - 1.0) * half
    return made


class Problem:
    """The least-squares problem of one sweep, the straight line taken out of everything beforehand."""

    def __init__(self, gained: Array, speed: Array, derivative: int, variance: float) -> None:
        self.derivative, self.variance = derivative, variance
        self.low, self.span = float(speed[0]), float(speed[-1] - speed[0])
        self.part = (speed - self.low) / self.span
        self.gained = gained - gained.mean()
        count = len(speed)
        self.step = 1.0 / (count - 1)
        line = self.integral(np.stack([np.ones(count), self.part]))
        starts = np.stack([np.ones(count), np.linspace(0.0, 1.0, count)][:derivative])
        self.fixed = np.concatenate([starts, line])
        self.frame: Array = np.asarray(np.linalg.qr(self.fixed.T)[0], np.float64)
        self.left = self.cleared(self.cleared(self.gained))
        self.bends_raw = self.integral(soft_bends(self.part))
        self.bends = self.cleared(self.bends_raw)
        self.normal = self.bends @ self.bends.T
        self.side = self.bends @ self.left
        usual = float(np.trace(self.normal)) / BENDS
        self.loose, self.stiff = 1e3 / usual, 1.0 / usual
        self.stiff_inverse = held_inverse(self.normal, np.full(BENDS, self.stiff))
        self.stiff_weights = self.stiff_inverse @ self.side
        over = float(self.left @ self.left - self.side @ self.stiff_weights)
        self.stiff_alone = -0.5 * over / variance - half_log_determinant(self.normal, np.full(BENDS, self.stiff))

    def integral(self, rows: Array) -> Array:
        """Time integral of each row by trapezoids, as many times as the data are integrals of the torque."""
        for _ in range(self.derivative):
            summed = np.zeros_like(rows)
            np.add(rows[:, 1:], rows[:, :-1], out=summed[:, 1:])
            np.cumsum(summed, axis=1, out=summed)
            rows = summed * (0.5 * self.step)
        return rows

    def cleared(self, rows: Array) -> Array:
        """Rows less what the straight line can do for them."""
        made: Array = rows - (rows @ self.frame) @ self.frame.T
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
