"""Known weights on the brake's arm: the cell's constants come back, and what is wrong with it is named."""

import numpy as np
import pytest
from scipy import stats

from pullbook.measure.brakecheck import STANDARD_GRAVITY_M_S2, Step, check_brake, gravity

ARM_M = 0.35
UP = (0.0, 10.0, 20.0, 40.0, 60.0)


def _steps(scale=1.02, zero_nm=1.5, lag_nm=0.0, bend=0.0, noise_nm=0.0, both=True, chance=None):
    chance = chance or np.random.default_rng(1)
    made = []
    for rising, masses in ((True, UP), (False, UP[::-1])) if both else ((True, UP),):
        for mass in masses:
            truth = mass * STANDARD_GRAVITY_M_S2 * ARM_M
            reading = (truth + zero_nm) / scale + bend * truth * (206.0 - truth) + (0.0 if rising else lag_nm)
            made.append(Step(mass, reading + noise_nm * chance.standard_normal(), rising))
    return made


def test_scale_and_zero_come_back_exactly_from_clean_readings():
    found = check_brake(_steps(), ARM_M, 0.0, gravity_u_m_s2=0.0)
    assert found.scale == pytest.approx(1.02, rel=1e-9)
    assert found.zero_nm == pytest.approx(1.5, abs=1e-9)
    assert found.linearity_nm == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("latitude", "altitude", "expected"),
    # normal gravity at the equator, at 45° and at the pole (WGS 84); standard gravity is near that of 45° at the sea
    [(0.0, 0.0, 9.78033), (45.0, 0.0, 9.80620), (90.0, 0.0, 9.83219), (45.0, 1000.0, 9.80311)],
)
def test_gravity_is_that_of_the_place(latitude, altitude, expected):
    assert gravity(latitude, altitude) == pytest.approx(expected, abs=2e-5)  # published to five decimals, from memory


def test_scale_lies_within_its_uncertainty_in_95_of_100_cells():
    chance = np.random.default_rng(4)
    held = 0
    for _ in range(400):
        arm = ARM_M * (1.0 + 0.001 * chance.standard_normal())
        found = check_brake(_steps(noise_nm=0.3, chance=chance), arm, 0.001 * ARM_M, gravity_u_m_s2=0.0)
        held += abs(found.scale - 1.02) <= 1.96 * found.scale_u
    assert held >= stats.binom.ppf(0.001, 400, 0.95)


def test_a_cell_that_lags_behind_is_called_by_that_name():
    found = check_brake(_steps(lag_nm=1.2), ARM_M, 0.0)
    assert found.hysteresis_nm == pytest.approx(1.2 * 1.02, rel=0.01)
    assert any("trunnion" in line for line in found.words)


def test_a_bent_cell_shows_its_worst_distance_from_the_line():
    found = check_brake(_steps(bend=1e-4), ARM_M, 0.0)
    straight = stats.linregress(found.truth_nm, [step.reading_nm for step in _steps(bend=1e-4)])
    left = (
        np.array([step.reading_nm for step in _steps(bend=1e-4)]) - straight.intercept - straight.slope * found.truth_nm
    )
    assert abs(found.linearity_nm) == pytest.approx(float(np.abs(left).max()) / straight.slope, rel=1e-6)


def test_one_way_only_leaves_hysteresis_unknown_and_says_so():
    found = check_brake(_steps(both=False), ARM_M, 0.0)
    assert found.hysteresis_nm is None
    assert any("one way only" in line for line in found.words)


def test_a_place_nobody_named_costs_certainty():
    known = check_brake(_steps(), ARM_M, 0.0, gravity(48.0, 200.0), 0.0005)
    unknown = check_brake(_steps(), ARM_M, 0.0)
    assert unknown.scale_u > 10.0 * known.scale_u


@pytest.mark.parametrize(
    "steps",
    [
        [Step(0.0, 0.0, True), Step(10.0, 34.0, True), Step(20.0, 68.0, True)],
        [Step(0.0, 0.0, True), Step(10.0, 34.0, True)] * 3,
        [Step(mass, -reading.reading_nm, True) for mass, reading in zip(UP, _steps(), strict=False)],
    ],
)
def test_too_little_or_upside_down_is_refused(steps):
    with pytest.raises(ValueError, match=r"needed|sign"):
        check_brake(steps, ARM_M, 0.0)
