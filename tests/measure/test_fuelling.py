"""A probe that is late is no lean engine, and a lean engine is one however late the probe."""

import numpy as np
import pytest

from pullbook.measure.correction import Engine as CorrectionEngine
from pullbook.measure.curve import RollerCalibration, SweepSettings, read_sweep
from pullbook.measure.fuelling import leanest_command
from seed_demo.instruments import Instruments, record
from seed_demo.rolling_road import Car, Engine, Pull, Roller, Run, roller_for_sweep_of
from seed_demo.shapes import level, lines, smooth

TORQUE = smooth((1500, 150), (2500, 190), (3500, 215), (4500, 222), (5500, 210), (6500, 180), (7000, 160))
STEEP = lines((1500, 0.98), (3000, 0.98), (3600, 0.80), (7000, 0.80))  # enriched within a second on a short sweep


def _flags(lean_by=1.0, seconds=6.0, **instruments):
    car, pull = Car(Engine(TORQUE, commanded_lambda=STEEP, lambda_error=level(lean_by)), turns=5.0), Pull()
    run = Run(car, roller_for_sweep_of(seconds, car, Roller(), pull), pull)
    seen = record(run, Instruments(**instruments), 3)
    names = ("time_s", "roller_speed_rad_s", "engine_speed_rpm", "throttle_pct", "lambda_commanded", "lambda_measured")
    calibration = RollerCalibration(run.roller.inertia_kg_m2, run.roller.radius_m)
    curve = read_sweep(
        {name: seen[name] for name in names}, calibration, None, CorrectionEngine(), SweepSettings("observed")
    )
    late = np.nanmax(curve.channels["lambda_measured"] - curve.channels["lambda_commanded"])
    return [flag.code for flag in curve.flags], late


@pytest.mark.parametrize("delay_s", [0.2, 0.35, 0.6])
def test_a_probe_that_lags_a_steep_command_is_not_called_lean(delay_s):
    codes, late = _flags(lambda_delay_s=delay_s, lambda_lag_s=0.1, lambda_noise=0.004)
    assert late > 0.06  # sample against sample it looks lean
    assert "lean_under_load" not in codes


@pytest.mark.parametrize("delay_s", [0.0, 0.35, 0.6])
def test_a_lean_engine_is_called_lean_however_late_the_probe(delay_s):
    codes, _ = _flags(lean_by=1.08, lambda_delay_s=delay_s, lambda_lag_s=0.1, lambda_noise=0.004)
    assert codes[0] == "lean_under_load"


def test_the_leanest_command_is_that_of_the_second_before():
    time = np.arange(0.0, 5.0, 0.1)
    command = np.where(time < 2.0, 1.0, 0.8)
    command[0] = np.nan
    asked = leanest_command(time, command, np.array([0.0, 0.5, 2.85, 3.05, 4.9]))
    assert np.array_equal(asked, [np.nan, 1.0, 1.0, 0.8, 0.8], equal_nan=True)
