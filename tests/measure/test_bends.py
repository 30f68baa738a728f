"""The parts of the fit that stand for something else: a parabola for many bends, a look before a search."""

import numpy as np
import pytest

from pullbook.measure.leastsquares import BENDS, bent_by, soft_bends
from tests.measure.made_sweeps import errors_pct, read, sweep_lasting


@pytest.mark.parametrize("seed", range(4))
def test_bends_read_cell_by_cell_are_the_sum_of_the_bends(seed):
    chance = np.random.default_rng(seed)
    weights, part = chance.normal(size=BENDS), np.concatenate([[0.0, 0.5, 1.0], chance.random(200)])
    assert np.allclose(bent_by(weights, part), weights @ soft_bends(part), rtol=0.0, atol=1e-13)


@pytest.mark.parametrize("many", [1, 3, 5, 6])
def test_corners_are_looked_for_where_there_are_one_or_many(many):
    def torque(rpm):
        at = np.linspace(1500.0, 6600.0, many + 2)
        return np.interp(rpm, at, 800.0 + 60.0 * (np.arange(many + 2) % 2) * (1.0 + 0.2 * np.arange(many + 2)))

    made = sweep_lasting(14.0, torque)
    for seed in range(4):
        found = read(made, made.channels(200.0, 0.2, seed)).corners_rpm
        for true in np.linspace(1500.0, 6600.0, many + 2)[1:-1]:
            assert min(abs(rpm - true) for rpm in found) < 60.0, found


def test_humps_are_not_smoothed_over():
    """What a fit that trusts smoothness too soon would lose: it leaves over 1 % at the humps."""

    def torque(rpm):
        return 900.0 + 60.0 * np.sin(2.0 * np.pi * (rpm - 1500.0) / 1700.0)

    made = sweep_lasting(14.0, torque)
    worst = [errors_pct(made, read(made, made.channels(200.0, 0.4, seed)))[1] for seed in range(8)]
    assert np.median(worst) < 0.35
