"""The least that a curve costs: four convolutions with kept coefficients, one formula, local means on a grid of speeds.

The means come with their spread, since a curve without it is not what the calculation gives. No search for the sweep,
no choice of window, no other channels, no doubts: what the real calculation is measured against.
"""

from collections.abc import Mapping
from functools import cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
TAPS = 81
POINTS = 100
C0, C1, C2 = 8.0, 0.05, 4e-4


@cache
def coefficients(taps: int) -> tuple[Floats, Floats]:
    """Of a local quadratic: value and slope (per sample) at the middle, as np.convolve takes them."""
    away = np.arange(taps) - taps // 2
    fit = np.linalg.pinv(np.vander(away, 3, increasing=True).astype(np.float64))
    return fit[0][::-1].copy(), fit[1][::-1].copy()


def floor_curve(channels: Mapping[str, Floats], inertia_kg_m2: float = 58.0) -> tuple[Floats, Floats, Floats]:
    """Engine speed, power and its spread, 100 points, from evenly sampled channels in inside units."""
    value, slope = coefficients(TAPS)
    step_s = channels["time_s"][1] - channels["time_s"][0]
    omega = np.convolve(channels["roller_speed_rad_s"], value, "valid")
    alpha = np.convolve(channels["roller_speed_rad_s"], slope, "valid") / step_s
    brake = np.convolve(channels["brake_torque_nm"], value, "valid")
    speed = np.convolve(channels["engine_speed_rpm"], value, "valid")
    power = omega * (inertia_kg_m2 * alpha + brake + C0 + omega * (C1 + C2 * omega))
    first, last = int(np.argmin(speed)), int(np.argmax(speed))
    edges = np.linspace(speed[first], speed[last], POINTS + 1)
    cuts = np.searchsorted(speed[first:last], edges[:-1])
    table = np.stack([power[first:last], power[first:last] ** 2])
    means, squares = np.add.reduceat(table, cuts, axis=1) / np.diff(cuts, append=last - first)
    spread = np.sqrt(np.maximum(squares - means**2, 0.0))
    return 0.5 * (edges[1:] + edges[:-1]), means, spread
