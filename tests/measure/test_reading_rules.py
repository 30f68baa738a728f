"""What must hold for any reading, whatever the numbers are."""

from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pullbook.measure.air import air_from_relative_humidity
from pullbook.measure.brake import brake_of
from pullbook.measure.correction import Engine, factor
from pullbook.measure.curve import RollerCalibration, SweepSettings, read_sweep
from pullbook.measure.units import to_inside
from tests.measure.made_sweeps import OBSERVED, RATIO, RPM, SPARK, corners, errors_pct, read, rounded, sweep_lasting
from tests.published.published_rows import case, published

MADE = sweep_lasting(10.0, rounded)
NOISY = MADE.channels(200.0, 0.4, 11)
MILD = air_from_relative_humidity(20.0, 100.0, 50.0)


def _bits(curve):
    return [getattr(curve, f.name).tobytes() for f in fields(curve) if isinstance(getattr(curve, f.name), np.ndarray)]


@pytest.mark.parametrize("window", [None, 0.4])
def test_the_same_samples_give_the_same_bits(window):
    chosen = SweepSettings("observed", window_s=window)
    one, other = (read(MADE, {k: v.copy() for k, v in NOISY.items()}, chosen) for _ in range(2))
    assert _bits(one) == _bits(other)
    assert one.headline == other.headline


def test_reading_leaves_the_samples_alone():
    before = {name: values.copy() for name, values in NOISY.items()}
    read(MADE, NOISY)
    assert all(np.array_equal(before[name], NOISY[name]) for name in NOISY)


@settings(max_examples=12, deadline=None)
@given(st.floats(0.05, 20.0))
def test_so_many_times_the_inertia_is_so_many_times_the_inertial_power(times):
    one = read(MADE, NOISY)
    more = read(MADE, NOISY, inertia_kg_m2=MADE.inertia_kg_m2 * times)
    assert np.allclose(more.power_w, times * one.power_w, rtol=1e-9)
    assert more.headline.peak_power_w.value == pytest.approx(times * one.headline.peak_power_w.value, rel=1e-9)


@settings(max_examples=12, deadline=None)
@given(st.floats(-1e4, 1e4))
def test_when_the_clock_started_does_not_matter(shift):
    moved = read(MADE, NOISY | {"time_s": NOISY["time_s"] + shift})
    # a stamp of 10 000 s keeps 2e-12 s, against a sample step of 5e-3 s
    assert np.allclose(moved.power_w, read(MADE, NOISY).power_w, rtol=1e-6)


def test_torque_and_power_belong_together():
    curve = read_sweep(NOISY, MADE.calibration(), MILD, SPARK, SweepSettings())
    assert np.allclose(curve.torque_nm * curve.engine_speed_rpm / RPM, curve.power_w, rtol=1e-12)
    hp = curve.power_w / to_inside(1.0, "hp")
    lbf_ft = curve.torque_nm / to_inside(1.0, "lbf_ft")
    assert np.allclose(hp, lbf_ft * curve.engine_speed_rpm / 5252.113, rtol=1e-6)


@pytest.mark.parametrize("standard", ["sae_j1349", "iso_1585", "din_70020", "sae_j607"])
def test_corrected_is_the_factor_times_observed(standard):
    curve = read_sweep(NOISY, MADE.calibration(), MILD, SPARK, SweepSettings(standard))
    k = factor(standard, MILD, SPARK).value
    assert curve.factor == k
    assert np.allclose(curve.power_w, k * curve.observed_power_w, rtol=1e-13)
    assert np.allclose(curve.spread_w, k * read(MADE, NOISY).spread_w, rtol=1e-12)


@pytest.mark.parametrize("step", [10.0, 25.0, 50.0, 100.0, 137.0])
def test_grid_points_are_whole_multiples_of_the_step(step):
    grid = read(MADE, NOISY, SweepSettings("observed", step_rpm=step)).engine_speed_rpm
    assert np.allclose(grid / step, np.round(grid / step))
    assert np.allclose(np.diff(grid), step)


def test_a_curve_read_on_its_own_grid_is_itself_and_blank_beyond():
    curve = read(MADE, NOISY)
    assert np.array_equal(curve.on_grid(curve.engine_speed_rpm), curve.power_w)
    assert np.isnan(curve.on_grid([100.0, 9000.0])).all()
    assert np.isnan(curve.on_grid(curve.engine_speed_rpm, "lambda_measured")).all()


def test_mean_power_over_a_band_is_area_over_width():
    curve = read(MADE, NOISY, SweepSettings("observed", band_rpm=(2500.0, 5500.0)))
    head = curve.headline
    assert head.band_rpm == (2500.0, 5500.0)
    assert head.mean_power_w.value == pytest.approx(head.area_w_rpm / 3000.0)
    assert curve.mean_power_w((2500.0, 5500.0)) == pytest.approx(head.mean_power_w.value)
    assert np.isnan(curve.mean_power_w((100.0, 5500.0)))


def test_without_engine_speed_the_stated_ratio_stands_in():
    bare = {name: values for name, values in NOISY.items() if name != "engine_speed_rpm"}
    stated = read(MADE, bare, SweepSettings("observed", engine_turns_per_roller_turn=RATIO))
    measured = read(MADE, NOISY)
    assert stated.axis == "engine_speed"
    both = np.intersect1d(stated.engine_speed_rpm, measured.engine_speed_rpm)
    assert np.allclose(stated.on_grid(both), measured.on_grid(both), rtol=2e-4)
    unknown = read(MADE, bare)
    assert unknown.axis == "roller_speed"
    assert [flag.code for flag in unknown.flags] == ["no_engine_speed"]


def test_surface_speed_reads_as_roller_speed_does():
    surface = NOISY | {"roller_surface_speed_m_s": NOISY["roller_speed_rad_s"] * 0.25}
    del surface["roller_speed_rad_s"]
    assert np.allclose(read(MADE, surface).power_w, read(MADE, NOISY).power_w, rtol=1e-9)


@pytest.mark.parametrize(
    "row", [row for row in published("rotation") if "torque" in row.case or "dE" in row.case], ids=case
)
def test_a_steady_acceleration_needs_the_published_torque_and_energy(row):
    words = row.inputs["inputs"]
    inertia = float(words.split("I=")[1].split(" ")[0])
    low, high = (
        float(part) / RPM
        for part in words.split(", ")[1].replace("constant acceleration ", "").split(" rpm")[0].split("->")
    )
    seconds = float(words.split(" in ")[1].split(" s")[0]) if " in " in words else 5.0
    time = np.linspace(0.0, seconds, 1001)
    omega = low + (high - low) * time / seconds
    channels = {"time_s": time, "roller_speed_rad_s": omega, "engine_speed_rpm": omega * RPM}
    curve = read_sweep(channels, RollerCalibration(inertia, 0.3), None, SPARK, OBSERVED)
    if row.inputs["quantity"] == "inertia_torque_N_m":
        assert np.allclose(curve.torque_nm, float(row.expected), rtol=1e-9)
    else:  # power grows evenly with time, so the energy is the power half-way times how long it took
        half_way = float(curve.on_grid([0.5 * (low + high) * RPM])[0])
        row.assert_near(half_way * seconds)


@pytest.mark.parametrize(
    "row", [row for row in published("rotation") if "brake" in row.case or "kgf" in row.case], ids=case
)
def test_a_load_cell_at_its_arm_makes_the_published_torque_and_power(row):
    words = row.inputs["inputs"].replace(",", "").split()
    if row.inputs["quantity"] == "torque_N_m":
        force, arm = float(to_inside(25.0, "kgf")), 0.4
        omega = 1.0
    else:
        force, arm, omega = float(words[2]), float(words[6]), float(words[8]) / RPM
    seen = brake_of({"brake_force_n": np.full(4, force)}, RollerCalibration(50.0, 0.3, brake_arm_m=arm))
    assert seen.by_force
    assert seen.torque_nm is not None
    row.assert_near(float(seen.torque_nm[0] * omega))


def test_the_uncertainty_holds_what_the_calibration_and_the_noise_bring():
    plain = read(MADE, NOISY).headline.peak_power_w
    doubtful = read(MADE, NOISY, inertia_u_kg_m2=0.01 * MADE.inertia_kg_m2).headline.peak_power_w
    grown = doubtful.expanded_uncertainty**2 - plain.expanded_uncertainty**2
    assert grown**0.5 == pytest.approx(2.0 * 0.01 * plain.value, rel=1e-6)  # k = 2 times one per cent
    quiet = read(MADE, MADE.channels(200.0)).headline.peak_power_w
    assert quiet.expanded_uncertainty < plain.expanded_uncertainty


def test_the_air_counts_in_a_corrected_figure_only():
    corrected = read_sweep(NOISY, MADE.calibration(), MILD, SPARK, SweepSettings("sae_j1349"))
    assert {"air temperature", "air pressure", "humidity"} <= set(corrected.uncertainty_pct)
    observed = read_sweep(NOISY, MADE.calibration(), MILD, SPARK, OBSERVED)
    assert not {"air temperature", "air pressure", "humidity"} & set(observed.uncertainty_pct)


def test_the_radius_counts_only_where_speed_came_from_the_surface():
    doubtful = {"roller_radius_u_m": 0.0025}  # one per cent
    assert "radius" not in read(MADE, NOISY, **doubtful).uncertainty_pct
    surface = NOISY | {"roller_surface_speed_m_s": NOISY["roller_speed_rad_s"] * 0.25}
    del surface["roller_speed_rad_s"]
    assert read(MADE, surface, **doubtful).uncertainty_pct["radius"] == pytest.approx(2.0, rel=1e-6)


def test_the_stated_uncertainty_holds_the_truth_as_often_as_it_should():
    made = sweep_lasting(8.0, corners)
    held = 0
    for seed in range(40):
        peak = read(made, made.channels(200.0, 0.4, seed)).headline.peak_power_w
        held += abs(peak.value - made.peak_power_w()) <= peak.expanded_uncertainty
    assert (
        held >= 32
    )  # k = 2 promises 38 of 40; the fit that chose its own corners may be a little surer than it should


def test_other_channels_come_along_on_the_grid():
    time = NOISY["time_s"]
    rpm = np.interp(time, MADE.time_s, MADE.omega) * RPM * RATIO
    more = NOISY | {"manifold_pressure_kpa": 90.0 - rpm / 1e3, "oil_temperature_c": np.full(len(time), np.nan)}
    curve = read(MADE, more)
    inside = slice(1, -1)  # the first and the last point have samples on one side only
    expected = 90.0 - curve.engine_speed_rpm / 1e3
    assert np.allclose(curve.channels["manifold_pressure_kpa"][inside], expected[inside], atol=5e-3)
    assert np.isnan(curve.channels["oil_temperature_c"]).all()


def test_gauge_pressure_becomes_absolute_with_the_pulls_own_air():
    more = NOISY | {"manifold_gauge_kpa": np.full(len(NOISY["time_s"]), 80.0)}
    curve = read_sweep(more, MADE.calibration(), MILD, SPARK, OBSERVED)
    assert np.allclose(curve.channels["manifold_pressure_kpa"], 180.0)
    assert "manifold_pressure_kpa" not in read(MADE, more).channels


def test_a_narrower_step_changes_no_point_they_share():
    coarse, fine = (read(MADE, NOISY, SweepSettings("observed", step_rpm=step)) for step in (100.0, 50.0))
    assert np.allclose(fine.on_grid(coarse.engine_speed_rpm), coarse.power_w, rtol=1e-12)
    assert errors_pct(MADE, fine)[0] < 0.25


def test_an_unknown_standard_is_named():
    with pytest.raises(ValueError, match="nosuch"):
        read_sweep(NOISY, MADE.calibration(), MILD, Engine(), SweepSettings("nosuch"))
