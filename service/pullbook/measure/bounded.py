"""Least squares where each datum is no measurement with noise but a bound: what is known of the unknowns then.

The likelihood of a row is flat within its bounds, with an edge a little softened. Each row's share in what is known is
told by a normal density that is found by expectation propagation (Minka 2001): leave the row out, cut what the others
say to its bounds, and keep the mean and the variance of that. The result is close to the true mean – the middle of all
that the bounds allow – where least squares would take the rows for normal noise, and the most likely curve would be
any of many. It gives variances and the evidence besides.
"""

import numpy as np

from pullbook.measure.curveparts import Array

_SOFT = 0.1  # of half the width of the bounds: normal noise before the cut
_NEARLY_ALL = 0.9  # of each change is made, so that rounds do not swing
_AT_REST = 0.02  # half widths
# ln erfc(x) + x² − ln t, t = 1 / (1 + x/2), by powers of t: a Chebyshev fit good to 1.2e-7 of the value everywhere
_TAIL: tuple[float, ...] = (-1.26551223, 1.00002368, 0.37409196, 0.09678418, -0.18628806)
_TAIL += (0.27886807, -1.13520398, 1.48851587, -0.82215223, 0.17087277)


class Bounded:
    """`middle` ± `half`: the bounds of each row. `precision` and `pull` (precision times mean): each row's share."""

    def __init__(self, middle: Array, half: float, start: "Bounded | None" = None) -> None:
        self.middle, self.half = middle, half
        self.precision: Array = np.full(len(middle), 3.0 / half**2) if start is None else start.precision
        self.pull: Array = self.precision * middle if start is None else start.pull
        self.mean, self.inverse = np.zeros(0), np.zeros((0, 0))

    def settle(self, rows: Array, held: Array, rounds: int) -> None:
        """Find `mean` and `inverse` (the covariance) of the unknowns of `rows` (unknowns, data), `held` their prior
        precision, from where the last call left it; at most so many rounds."""
        for _ in range(rounds):
            at, alone, variance = self._left_out(rows, held)
            kept, spread, _ = self._within(alone, variance)
            told = np.maximum(1.0 / spread - 1.0 / variance, 1e-4 / self.half**2)
            pull = kept * (told + 1.0 / variance) - alone / variance
            self.precision = self.precision + _NEARLY_ALL * (told - self.precision)
            self.pull = self.pull + _NEARLY_ALL * (pull - self.pull)
            if float(np.abs(kept - at).max()) < _AT_REST * self.half:
                break

    def log_evidence(self, rows: Array, held: Array) -> float:
        """Of the rows under this prior, apart from what is common to all that share bounds and their free unknowns."""
        _, alone, variance = self._left_out(rows, held)
        _, _, mass = self._within(alone, variance)
        with_row = self.precision + 1.0 / variance
        both = (alone / variance + self.pull) ** 2 / with_row - alone * alone / variance
        mass += 0.5 * np.log(with_row * variance) - 0.5 * both
        _, logarithm = np.linalg.slogdet(self.inverse)
        spent = float(self.mean @ (rows @ self.pull))
        return float(np.add.reduce(mass)) + 0.5 * float(logarithm + np.add.reduce(np.log(held)) + spent)

    def _left_out(self, rows: Array, held: Array) -> tuple[Array, Array, Array]:
        """Each row's value as all tell it; its mean and variance as all but itself tell it."""
        normal = (rows * self.precision) @ rows.T
        normal.ravel()[:: len(held) + 1] += held
        self.inverse = np.asarray(np.linalg.inv(normal), np.float64)
        self.mean = self.inverse @ (rows @ self.pull)
        at = self.mean @ rows
        variance = np.add.reduce(rows * (self.inverse @ rows))
        others = np.maximum(1.0 / variance - self.precision, 1e-3 / variance)
        return at, (at / variance - self.pull) / others, 1.0 / others

    def _within(self, mean: Array, variance: Array) -> tuple[Array, Array, Array]:
        """Mean, variance and log mass of normal densities once they are cut to the bounds."""
        soft = (_SOFT * self.half) ** 2
        wide = variance + soft
        share = variance / wide
        moved, left, mass = _cut(mean - self.middle, wide, self.half)
        return mean + share * moved, share * (soft + share * left), mass


def _cut(away: Array, variance: Array, half: float) -> tuple[Array, Array, Array]:
    """How far the means move, the variances left and the log masses of normal densities cut to ± half."""
    deviation = np.sqrt(variance)
    side = np.where(away > 0.0, -1.0, 1.0)
    low = (-half - away * side) / deviation
    high = (half - away * side) / deviation
    out = 0.5 * np.maximum(low, 0.0) ** 2  # everything is told times its exponential, so that nothing vanishes
    near, far = np.exp(out - 0.5 * low * low), np.exp(out - 0.5 * high * high)
    tail = 0.5 * _scaled_tail(np.abs(low))
    mass = np.where(low >= 0.0, tail, 1.0 - tail * near) - 0.5 * _scaled_tail(high) * far
    mass = np.maximum(mass, 1e-30)
    near *= 1.0 / (2.0 * np.pi) ** 0.5
    far *= 1.0 / (2.0 * np.pi) ** 0.5
    shift = (near - far) / mass
    left = np.minimum(np.maximum(1.0 + (low * near - high * far) / mass - shift * shift, 1e-9), 1.0)
    return side * deviation * shift, variance * left, np.log(mass) - out


def _scaled_tail(deviations: Array) -> Array:
    """erfc(x)·exp(x²) at x = deviations / √2, deviations ≥ 0."""
    part = 1.0 / (1.0 + (0.5 / 2.0**0.5) * deviations)
    made = np.full(len(part), _TAIL[-1])
    for factor in _TAIL[-2::-1]:
        made *= part
        made += factor
    return np.asarray(part * np.exp(made), np.float64)
