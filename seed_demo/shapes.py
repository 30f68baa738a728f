"""One quantity as it depends on another, given by knots: straight lines with sharp corners, or one smooth curve."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from typing import overload

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Shape:
    """A cubic per stretch between knots; held at its end values outside them.

    `cubic[k]` are the four coefficients, constant first, in the distance from knot k.
    """

    knots: tuple[float, ...]
    cubic: tuple[tuple[float, float, float, float], ...]

    @overload
    def __call__(self, x: float) -> float: ...
    @overload
    def __call__(self, x: Floats) -> Floats: ...
    def __call__(self, x: float | Floats) -> float | Floats:
        """The value at x; a plain float takes the quick way, since the integrator asks a hundred thousand times."""
        if isinstance(x, float):
            where, away = self._stretch(x)
            a, b, c, d = self.cubic[where]
            return a + away * (b + away * (c + away * d))
        where_all, away_all = self._stretches(np.asarray(x, np.float64))
        a, b, c, d = np.asarray(self.cubic, np.float64).T[:, where_all]
        value: Floats = a + away_all * (b + away_all * (c + away_all * d))
        return value

    @overload
    def slope(self, x: float) -> float: ...
    @overload
    def slope(self, x: Floats) -> Floats: ...
    def slope(self, x: float | Floats) -> float | Floats:
        """The derivative at x: zero outside the knots, the stretch to the right at a corner."""
        if isinstance(x, float):
            if not self.knots[0] <= x < self.knots[-1]:
                return 0.0
            where, away = self._stretch(x)
            _, b, c, d = self.cubic[where]
            return b + away * (2.0 * c + away * 3.0 * d)
        x = np.asarray(x, np.float64)
        where_all, away_all = self._stretches(x)
        _, b, c, d = np.asarray(self.cubic).T[:, where_all]
        inside = (x >= self.knots[0]) & (x < self.knots[-1])
        return np.where(inside, b + away_all * (2.0 * c + away_all * 3.0 * d), 0.0)

    def _stretch(self, x: float) -> tuple[int, float]:
        knots = self.knots
        if x <= knots[0]:
            return 0, 0.0
        where = bisect_right(knots, x, 1, len(knots) - 1) - 1
        return where, (x if x < knots[-1] else knots[-1]) - knots[where]

    def _stretches(self, x: Floats) -> tuple[NDArray[np.intp], Floats]:
        knots = np.asarray(self.knots)
        where = np.clip(np.searchsorted(knots, x, side="right") - 1, 0, len(self.cubic) - 1)
        return where, np.clip(x, knots[0], knots[-1]) - knots[where]

    def times(self, factor: float) -> "Shape":
        """The same shape, every value multiplied."""
        return Shape(self.knots, tuple((a * factor, b * factor, c * factor, d * factor) for a, b, c, d in self.cubic))


def lines(*points: tuple[float, float]) -> Shape:
    """Straight lines from knot to knot: corners stay sharp."""
    xs, ys = _split(points)
    slopes = np.diff(ys) / np.diff(xs)
    cubic = tuple((float(y), float(s), 0.0, 0.0) for y, s in zip(ys, slopes, strict=False))
    return Shape(tuple(xs.tolist()), cubic)


def smooth(*points: tuple[float, float]) -> Shape:
    """The natural cubic spline through the knots: value, slope and curvature run on without a jump."""
    xs, ys = _split(points)
    h, rise = np.diff(xs), np.diff(ys)
    matrix, right = np.eye(len(xs)), np.zeros(len(xs))
    for k in range(1, len(xs) - 1):
        matrix[k, k - 1 : k + 2] = h[k - 1], 2.0 * (h[k - 1] + h[k]), h[k]
        right[k] = 3.0 * (rise[k] / h[k] - rise[k - 1] / h[k - 1])
    bend = np.linalg.solve(matrix, right)
    cubic = tuple(
        (
            float(ys[k]),
            float(rise[k] / h[k] - h[k] * (2.0 * bend[k] + bend[k + 1]) / 3.0),
            float(bend[k]),
            float((bend[k + 1] - bend[k]) / (3.0 * h[k])),
        )
        for k in range(len(h))
    )
    return Shape(tuple(xs.tolist()), cubic)


def level(value: float) -> Shape:
    """One value everywhere."""
    return Shape((0.0, 1.0), ((value, 0.0, 0.0, 0.0),))


def _split(points: Sequence[tuple[float, float]]) -> tuple[Floats, Floats]:
    xs, ys = np.array(points, np.float64).T
    if len(xs) < 2 or np.any(np.diff(xs) <= 0.0):
        raise ValueError("knots must rise, and two are the least")
    return xs, ys
