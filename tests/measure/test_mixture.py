"""A probe that is late is no lean engine, and a lean engine is one however late the probe."""

import numpy as np
import pytest

from pullbook.measure.correction import Engine as CorrectionEngine
from pullbook.measure.curve import RollerCalibration, SweepSettings, read_sweep
from pullbook.measure.curveparts import InPlace, ProbeLag
from pullbook.measure.fuelling import stretches_of
from pullbook.measure.inplace import command_around
from pullbook.measure.mixture import read_mixture
from seed_demo.instruments import Instruments, record
from seed_demo.rolling_road import Car, Engine, Pull, Roller, Run, roller_for_sweep_of
from seed_demo.shapes import level, lines, smooth

TORQUE = smooth((1500, 150), (2500, 190), (3500, 215), (4500, 222), (5500, 210), (6500, 180), (7000, 160))
STEEP = lines((1500, 0.98), (3000, 0.98), (3600, 0.80), (7000, 0.80))  # enriched within a second on a short sweep
PROTECTING = lines((2000, 0.97), (3000, 0.885), (4300, 0.86), (5500, 0.735), (6400, 0.72))
USUAL = lines((2000, 0.97), (3000, 0.885), (4000, 0.86), (7000, 0.855))
SHORT_ON_TOP = lines((2000, 1.0), (4600, 1.0), (6300, 1.14), (7400, 1.17))  # true λ over commanded
NAMES = ("time_s", "roller_speed_rad_s", "engine_speed_rpm", "throttle_pct", "lambda_commanded", "lambda_measured")


def _read(commanded=STEEP, error=None, seconds=6.0, without=(), ignition="spark", lag_s=None, seed=3, **instruments):
    car = Car(Engine(TORQUE, commanded_lambda=commanded, lambda_error=error or level(1.0)), turns=5.0)
    run = Run(car, roller_for_sweep_of(seconds, car, Roller(), Pull()), Pull())
    seen = record(run, Instruments(**{"lambda_noise": 0.004, **instruments}), seed)
    channels = {name: seen[name] for name in NAMES if name not in without}
    calibration = RollerCalibration(run.roller.inertia_kg_m2, run.roller.radius_m)
    settings = SweepSettings("observed", lambda_lag_s=lag_s)
    curve = read_sweep(channels, calibration, None, CorrectionEngine(ignition), settings)
    told = read_mixture(curve.channels, curve.in_place, curve.engine_speed_rpm, curve.torque_nm, ignition)
    return curve, told


def _codes(curve):
    return [flag.code for flag in curve.flags]


@pytest.mark.parametrize("delay_s", [0.0, 0.2, 0.35, 0.6, 0.9])
def test_a_probe_that_lags_a_steep_command_is_not_called_lean(delay_s):
    curve, told = _read(lambda_delay_s=delay_s)
    assert "lean_under_load" not in _codes(curve)
    assert [stretch.state for stretch in told.stretches] == ["follows"]


@pytest.mark.parametrize("delay_s", [0.0, 0.35, 0.6, 0.9])
def test_a_lean_engine_is_called_lean_however_late_the_probe(delay_s):
    curve, _ = _read(error=level(1.08), lambda_delay_s=delay_s)
    assert _codes(curve)[0] == "lean_under_load"


def test_measured_lambda_stands_where_its_gas_was_burnt():
    curve, told = _read(lambda_delay_s=0.6, lambda_lag_s=0.1)
    assert told.lag.found
    off = curve.channels["lambda_measured"] - curve.channels["lambda_commanded"]
    late, _ = _read(lambda_delay_s=0.6, lambda_lag_s=0.1, lag_s=0.0)
    left_in = late.channels["lambda_measured"] - late.channels["lambda_commanded"]
    assert np.nanmax(np.abs(left_in)) > 0.1
    assert np.nanmax(np.abs(off)) < 0.03  # what a probe of 0.1 s blurs of a steep command


def test_stretches_say_where_it_follows_and_where_it_is_lean_and_by_how_much():
    _, told = _read(USUAL, SHORT_ON_TOP, seconds=9.0)
    assert [stretch.state for stretch in told.stretches] == ["follows", "leaner"]
    follows, lean = told.stretches
    assert follows.from_rpm < 2400.0
    assert abs(follows.mean_error) < 0.01
    begins = 4600.0 + 1700.0 * (told.tolerance_lambda / 0.86) / 0.14  # where the shortage passes the tolerance
    assert lean.from_rpm == pytest.approx(begins, abs=150.0)
    assert lean.to_rpm > 6000.0
    assert lean.from_s < lean.to_s
    middle = np.linspace(lean.from_rpm, lean.to_rpm, 200)
    assert lean.mean_error == pytest.approx(np.mean(USUAL(middle) * (SHORT_ON_TOP(middle) - 1.0)), abs=0.012)


def test_richer_than_commanded_is_told_but_warns_of_nothing():
    curve, told = _read(PROTECTING, level(0.93), seconds=9.0)
    assert {stretch.state for stretch in told.stretches} == {"richer"}
    assert "lean_under_load" not in _codes(curve)


def test_a_command_for_rich_mixture_is_named_where_torque_falls_with_it():
    curve, told = _read(PROTECTING, seconds=9.0)
    assert _codes(curve) == ["rich_by_command"]
    text = told.flags[0].text
    assert "and gets it" in text
    assert "why it asks" in text
    assert "not at the fuel map" in text
    assert any("Common practice, not measured here" in note for note in told.notes)


def test_leaner_than_commanded_stands_before_what_the_controller_asks_for():
    curve, _ = _read(PROTECTING, lines((2000, 1.08), (3500, 1.08), (3700, 1.0), (7000, 1.0)), seconds=9.0)
    assert _codes(curve) == ["lean_under_load", "rich_by_command"]


def test_without_a_command_the_usual_lag_is_taken_and_said_and_only_lean_gas_is_named():
    curve, told = _read(level(0.88), level(1.20), without=("lambda_commanded",))
    assert not told.lag.found
    assert told.lag.quality == "usual"
    assert "no commanded λ" in told.lag.reason
    assert [stretch.state for stretch in told.stretches] == ["leaner"]
    assert told.stretches[0].mean_commanded is None
    assert _codes(curve)[0] == "lean_under_load"
    assert "λ 1.00" in curve.flags[0].text
    assert "target" in told.missing
    _, well = _read(level(0.88), without=("lambda_commanded",))
    assert well.stretches == ()


def test_without_a_probe_the_command_alone_is_judged_and_what_is_missing_is_said():
    curve, told = _read(PROTECTING, seconds=9.0, without=("lambda_measured",))
    assert _codes(curve) == ["rich_by_command"]
    text = told.flags[0].text
    assert "gets it" not in text
    assert "does what it was told" not in text
    assert "not measured" in text
    assert told.lag is None
    assert "wide-band probe" in told.missing


def test_a_diesel_is_never_called_lean():
    curve, told = _read(level(1.2), level(1.1), ignition="compression")
    assert _codes(curve) == []
    assert told.flags == ()
    assert told.notes == ()


def test_the_end_of_a_sweep_is_blank_where_its_gas_is_mixed_with_that_of_the_lift():
    curve, _ = _read(PROTECTING, seconds=9.0)
    assert np.isnan(curve.channels["lambda_measured"][-1])
    assert np.isfinite(curve.channels["lambda_commanded"][-1])
    assert np.isnan(curve.channels["lambda_measured"]).sum() <= 3


def test_a_lag_that_is_given_is_used_and_said():
    curve, told = _read(PROTECTING, seconds=9.0, lag_s=0.3)
    assert told.lag.lag_s == 0.3
    assert told.lag.quality == "given"
    assert curve.in_place.lag is told.lag


def test_the_command_around_a_moment_is_its_least_and_greatest_within_the_doubt():
    time = np.arange(0.0, 5.0, 0.1)
    command = np.where(time < 2.0, 1.0, 0.8)
    command[0] = np.nan
    least, most = command_around(time, command, np.array([0.0, 1.0, 1.85, 2.35, 3.0, 9.0]), 0.5)
    np.testing.assert_array_equal(least, [1.0, 1.0, 0.8, 0.8, 0.8, np.nan])
    np.testing.assert_array_equal(most, [1.0, 1.0, 1.0, 1.0, 0.8, np.nan])


def test_a_sweep_blank_at_its_beginning_or_throughout_has_stretches_of_what_is_known():
    grid = np.arange(2000.0, 3000.0, 50.0)
    commanded, burnt = np.full(20, 0.88), np.linspace(2.0, 6.0, 20)
    place = InPlace(ProbeLag(0.4, 0.01, True, "good", None), burnt, commanded, commanded)
    for blank, told in ((1, ["leaner"]), (2, ["leaner"]), (20, [])):
        measured = np.full(20, 1.0)
        measured[:blank] = np.nan
        found = stretches_of(measured, commanded, place, grid, "spark")
        assert [stretch.state for stretch in found] == told
        assert all(stretch.from_rpm == grid[blank] for stretch in found)
        assert all(stretch.mean_error == pytest.approx(0.12) for stretch in found)


def test_nobody_says_that_the_engine_gets_what_no_probe_told_of():
    curve, told = _read(PROTECTING, seconds=9.0)
    rich = curve.channels["lambda_commanded"] < 0.85
    blank = {**curve.channels, "lambda_measured": np.where(rich, np.nan, curve.channels["lambda_measured"])}
    assert "and gets it" in told.flags[0].text
    rest = (curve.in_place, curve.engine_speed_rpm, curve.torque_nm, "spark")
    (flag,) = read_mixture(blank, *rest).flags
    assert flag.code == "rich_by_command"
    assert "gets it" not in flag.text
    assert "does what it was told" not in flag.text
