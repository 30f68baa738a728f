"""How rollers slow down by themselves: the motion under a loss of c0 + c1·ω + c2·ω², and where it lies in a file.

J·ω′ = −(c0 + c1·ω + c2·ω²) is a Riccati equation with constant coefficients; it is solved by the exponential of a
two-by-two matrix (E. L. Ince, Ordinary Differential Equations, 1926, ch. II; from memory), which holds for every sign
of the coefficients. The tests hold it to scipy's integration and to times that a regulation prints.
"""

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.measure.curveparts import Array, SweepError

SHORTEST_S = 3.0
LOWEST_SHARE = 0.12  # of the top speed: below it a bare bearing's friction follows no such law
LARGEST_FALL = 0.35  # of the top speed must be lost, or three coefficients cannot be told apart
_SETTLE_S = 0.5  # after the top, for the last touch of the tyre or the belt
_LOOKS = 120


@dataclass(frozen=True)
class Coasting:
    """Rows of a file in which rollers coast: `first` to before `last`; `falls` is False where a weight speeds them."""

    first: int
    last: int
    falls: bool


def speed_at(time_s: Array, start_rad_s: float, coefficients_per_s: Array) -> Array:
    """Speed, rad/s, at times from 0 on. `coefficients_per_s`: loss over inertia (c0/J, c1/J, c2/J). Shape of `time_s`.

    A standstill that the loss would turn into running backward is not caught: keep to times before it.
    """
    a0, a1, a2 = coefficients_per_s
    square = 0.25 * a1 * a1 - a0 * a2
    root = abs(square) ** 0.5
    if root * float(time_s[-1] if len(time_s) else 0.0) < 1e-9:
        even, odd = np.ones_like(time_s), time_s
    elif square > 0.0:
        even, odd = np.cosh(root * time_s), np.sinh(root * time_s) / root
    else:
        even, odd = np.cos(root * time_s), np.sin(root * time_s) / root
    over = (even - 0.5 * a1 * odd) * start_rad_s - a0 * odd
    under = a2 * odd * start_rad_s + even + 0.5 * a1 * odd
    made: Array = over / under
    return made


def time_between(start_rad_s: float, end_rad_s: float, coefficients_per_s: Array) -> float:
    """How long it takes to slow from one speed to another, s: the integral of 1 over the slowing (Gauss and Legendre).

    ValueError where the loss would not slow it all the way.
    """
    nodes, weights = np.polynomial.legendre.leggauss(64)
    at = 0.5 * (start_rad_s + end_rad_s) + 0.5 * (start_rad_s - end_rad_s) * nodes
    a0, a1, a2 = coefficients_per_s
    slowing = a0 + at * (a1 + at * a2)
    if not np.all(slowing > 0.0):
        raise ValueError("with these coefficients it does not slow from one speed to the other")
    return float(0.5 * (start_rad_s - end_rad_s) * (weights @ (1.0 / slowing)))


def angle_of(time_s: Array, speed_rad_s: Array, coefficients_per_s: Array) -> Array:
    """Angle turned since the first time, rad, from speed and slope at both ends of each step (Hermite's rule)."""
    a0, a1, a2 = coefficients_per_s
    slope = -(a0 + speed_rad_s * (a1 + speed_rad_s * a2))
    step = np.diff(time_s)
    gained = step * (0.5 * (speed_rad_s[1:] + speed_rad_s[:-1]) + step * (slope[:-1] - slope[1:]) / 12.0)
    return np.concatenate(([0.0], np.cumsum(gained)))


def find_coasting(time_s: Array, rough_speed_rad_s: Array) -> Coasting:
    """Where the rollers coast: from just after the top speed until they are slow, or a weight's whole run up.

    `rough_speed_rad_s` is one value a row. SweepError where nothing coasts for long enough.
    """
    looks = np.linspace(time_s[0], time_s[-1], _LOOKS + 1)
    means = _means_between(time_s, rough_speed_rad_s, looks)
    top = int(np.argmax(means))
    highest = float(means[top])
    if not highest > 0.0:
        raise SweepError("The rollers never turn in this file; check which column is roller speed.")
    down_s, up_s = looks[-1] - looks[top], looks[top] - looks[0]
    falls = down_s > 0.5 * up_s
    if falls:
        first = int(np.searchsorted(time_s, looks[top] + min(_SETTLE_S, 0.05 * down_s)))
        last = _until(time_s, looks, means, top, highest)
    else:
        begun = int(np.argmax(means > LOWEST_SHARE * highest))
        first, last = (int(np.searchsorted(time_s, looks[place])) for place in (begun, top))
    lasting = float(time_s[last - 1] - time_s[first]) if last > first else 0.0
    if lasting < SHORTEST_S or last - first < 40:
        raise SweepError(
            f"The rollers coast for only {max(lasting, 0.0):.1f} s here; {SHORTEST_S:g} s and 40 rows are the least. "
            "Let them run down until they are slow, and keep the logger on."
        )
    return Coasting(first, last, falls)


def _means_between(time_s: Array, values: Array, edges: Array) -> Array:
    places = np.clip(np.searchsorted(time_s, edges), 0, len(time_s))
    sums = np.concatenate(([0.0], np.cumsum(values)))
    counts = np.maximum(np.diff(places), 1)
    made: Array = np.where(
        np.diff(places) > 0, np.diff(sums[places]) / counts, values[np.minimum(places[:-1], len(values) - 1)]
    )
    return made


def _until(time_s: Array, looks: Array, means: Array, top: int, highest: float) -> int:
    """The row at which the run down ends: slow, speeding up again, or the file's end."""
    for place in range(top + 1, len(means)):
        if means[place] < LOWEST_SHARE * highest or means[place] > means[place - 1] + 0.02 * highest:
            return int(np.searchsorted(time_s, looks[place]))
    return len(time_s)
