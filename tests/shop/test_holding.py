"""A plateau stands beside sweeps that are read as it is; where there is none, it is said which there are and why."""

import numpy as np
import pytest

from pullbook.measure.air import air_from_relative_humidity
from pullbook.measure.curve import SweepSettings, read_sweep
from pullbook.measure.holdparts import HeldAt, Mean
from pullbook.shop.holding import beside_sweeps
from tests.measure.made_sweeps import SPARK, rounded, sweep_lasting

MADE = sweep_lasting(10.0, rounded)
CHANNELS = MADE.channels(200.0, 0.3, 2)
MILD = air_from_relative_humidity(20.0, 100.0, 50.0)
OBSERVED, CORRECTED = (read_sweep(CHANNELS, MADE.calibration(), air, SPARK, SweepSettings()) for air in (None, MILD))
MIDDLE_RPM = float(np.median(CORRECTED.engine_speed_rpm))


def _plateau(rpm: float = MIDDLE_RPM) -> HeldAt:
    speed = Mean(rpm, 1.0, 5.0, 0.0, 0.1)
    still = Mean(60.0, 0.0, 0.0, 0.0, 0.0)
    return HeldAt(
        start_s=0.0,
        settled_s=2.0,
        end_s=9.0,
        roller_speed_rad_s=still,
        engine_speed_rpm=speed,
        observed_power=still,
        power_w=70e3,
        expanded_uncertainty_w=500.0,
        parts_pct={},
        inertial_w=0.0,
        brake_w=70e3,
        loss_w=0.0,
        torque_nm=None,
        throttle=None,
        lambda_measured=None,
        lambda_commanded=None,
        is_settled=True,
        independent=20.0,
    )


def test_sweeps_read_alike_stand_beside_it():
    beside = beside_sweeps(_plateau(), CORRECTED.standard, [CORRECTED, OBSERVED], 2)
    assert beside.sweeps == 1
    assert beside.power_w == pytest.approx(float(CORRECTED.on_grid(np.array([MIDDLE_RPM]))[0]), rel=1e-3)
    assert beside.why_not is None


def test_sweeps_under_another_standard_are_told_with_its_name():
    beside = beside_sweeps(_plateau(), CORRECTED.standard, [OBSERVED, OBSERVED], 2)
    assert beside.why_not == (
        "2 sweeps pass this speed under another standard (2 under Observed); this plateau is under ISO 1585, UN R85"
    )
    assert beside.difference_w is None


@pytest.mark.parametrize(
    ("curves", "sweeps", "rpm", "why"),
    [
        ([], 0, MIDDLE_RPM, "no sweep of this setup yet"),
        ([], 2, MIDDLE_RPM, "no sweep of this setup can be read"),
        ([CORRECTED, OBSERVED], 2, 20000.0, "no sweep of this setup passes this speed"),
    ],
)
def test_every_other_reason_is_told_as_what_it_is(curves, sweeps, rpm, why):
    assert beside_sweeps(_plateau(rpm), CORRECTED.standard, curves, sweeps).why_not == why
