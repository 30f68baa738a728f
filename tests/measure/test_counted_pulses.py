"""Counts as what they are: the angle lies within one pulse, and a curve that keeps to that is nearer the truth."""

import numpy as np
import pytest

from pullbook.measure.bends import fit_bends
from pullbook.measure.counted import within_pulses

QUANTUM_RAD = 2.0 * np.pi / 60.0
STEP_S = 0.01


def _counted(first_rad: float, noise_rad: float = 0.0):
    """A roller that gains 16 + 4·sin(…) rad/s² for 7 s: rows of counted angle, speed, and the acceleration itself."""
    time_s = np.arange(700) * STEP_S
    pull = 16.0 + 4.0 * np.sin(np.pi * time_s / 7.0)
    speed = 40.0 + 16.0 * time_s + 4.0 * 7.0 / np.pi * (1.0 - np.cos(np.pi * time_s / 7.0))
    turned = np.concatenate(([0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]) * STEP_S))) + first_rad
    return np.floor(turned / QUANTUM_RAD) * QUANTUM_RAD + noise_rad, speed, pull


def _fits(first_rad: float):
    angle, speed, pull = _counted(first_rad)
    usual = fit_bends(angle, speed, STEP_S, 2, QUANTUM_RAD**2 / 12.0)
    kept = within_pulses(usual, angle, speed, STEP_S, QUANTUM_RAD)
    middle = slice(70, -70)
    return [float(np.sqrt(np.mean((fit.value(speed[middle]) / pull[middle] - 1.0) ** 2))) for fit in (usual, kept)]


def test_counts_taken_as_bounds_come_nearer_the_truth():
    usual, kept = np.median([_fits(first) for first in np.linspace(0.0, QUANTUM_RAD, 9)], axis=0)
    assert kept < 0.75 * usual
    assert kept < 0.002


def test_the_same_counts_give_the_same_bits():
    angle, speed, _ = _counted(0.03)
    usual = fit_bends(angle, speed, STEP_S, 2, QUANTUM_RAD**2 / 12.0)
    first, second = (within_pulses(usual, angle, speed, STEP_S, QUANTUM_RAD).value(speed) for _ in range(2))
    assert first.tobytes() == second.tobytes()


@pytest.mark.parametrize("away_rad", [2.0, -2.0])
def test_a_row_that_lies_pulses_off_leaves_the_usual_fit(away_rad: float):
    angle, speed, _ = _counted(0.03)
    angle[350] += away_rad
    usual = fit_bends(angle, speed, STEP_S, 2, QUANTUM_RAD**2 / 12.0)
    assert within_pulses(usual, angle, speed, STEP_S, QUANTUM_RAD) is usual
