"""What bounds say, against the integral that it stands for, and against curves that are known."""

import numpy as np
import pytest

from pullbook.measure.bends import fit_bends
from pullbook.measure.bounded import Bounded
from pullbook.measure.counted import within_pulses

QUANTUM_RAD = 2.0 * np.pi / 60.0
STEP_S = 0.01
SOFT = 0.1  # of half a bound: as `bounded` softens its edges


@pytest.mark.parametrize("seed", range(5))
def test_mean_and_variance_are_those_of_the_integral_over_all_that_the_bounds_allow(seed):
    chance = np.random.default_rng(seed)
    slope = chance.uniform(0.5, 2.0, 12)
    truth = 0.3
    middle = slope * truth + chance.uniform(-1.0, 1.0, 12)
    bounded = Bounded(middle, 1.0)
    bounded.settle(slope[None, :], np.array([1.0]), 60)
    at = np.linspace(-4.0, 4.0, 40_001)
    noise = np.linspace(-5.0, 5.0, 201) * SOFT
    weight = np.exp(-0.5 * (noise / SOFT) ** 2)
    density = np.exp(-0.5 * at * at)
    for row, centre in zip(slope, middle, strict=True):
        inside = np.abs(row * at[:, None] + noise - centre) < 1.0
        density = density * (inside @ weight)
    density /= density.sum()
    mean = float(density @ at)
    spread = float(density @ (at - mean) ** 2) ** 0.5
    assert abs(bounded.mean[0] - mean) < 0.35 * spread  # close, not exact: it rests at a fiftieth of a bound
    assert 0.7 < bounded.inverse[0, 0] ** 0.5 / spread < 1.4


def _cornered(first_rad: float):
    """A roller that gains 14, 22, then 16 rad/s² in straight lines against speed, with corners at 75 and 110 rad/s."""
    fine = np.arange(0.0, 6.0, 1e-4)
    speed = np.empty(len(fine))
    speed[0] = 40.0
    for row in range(1, len(fine)):
        speed[row] = speed[row - 1] + 1e-4 * _pull(speed[row - 1])
    angle = np.concatenate(([0.0], np.cumsum(0.5e-4 * (speed[1:] + speed[:-1])))) + first_rad
    return np.floor(angle[::100] / QUANTUM_RAD) * QUANTUM_RAD, speed[::100]


def _pull(speed_rad_s):
    return np.interp(speed_rad_s, [40.0, 75.0, 110.0, 160.0], [14.0, 22.0, 22.0, 16.0])


def _kept(first_rad: float):
    angle, speed = _cornered(first_rad)
    usual = fit_bends(angle, speed, STEP_S, 2, QUANTUM_RAD**2 / 12.0)
    return within_pulses(usual, angle, speed, STEP_S, QUANTUM_RAD)


def test_sharp_corners_are_found_in_counts():
    places = []
    for first in np.linspace(0.0, QUANTUM_RAD, 7):
        kept = _kept(first)
        places.append([float(np.abs(kept.corners_rad_s - true).min()) for true in (75.0, 110.0)])
    assert np.median(places) < 1.0
    assert np.max(places) < 4.0


def test_the_deviation_told_is_about_as_large_as_the_error():
    off = []
    for first in np.linspace(0.0, QUANTUM_RAD, 7):
        kept = _kept(first)
        error = kept.value(kept.speed_rad_s) - _pull(kept.speed_rad_s)
        off.append(error[20:-20] / kept.deviation[20:-20])
    assert 0.3 < float(np.sqrt(np.mean(np.square(off)))) < 1.6


def test_deviation_without_doubt_of_places_is_the_smaller():
    kept = _kept(0.02)
    assert np.all(kept.scatter <= kept.deviation * 1.0001)
