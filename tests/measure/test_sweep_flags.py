"""What goes wrong on a roller is seen, counted, and said in words that help."""

import numpy as np
import pytest

from pullbook.measure.air import Air, air_from_relative_humidity
from pullbook.measure.correction import Engine
from pullbook.measure.curve import SweepError, SweepSettings, read_sweep
from pullbook.measure.rollerspeed import roller_signal
from tests.measure.made_sweeps import OBSERVED, RATIO, RPM, SPARK, errors_pct, read, rounded, sweep_lasting

MADE = sweep_lasting(10.0, rounded)
PLAIN = MADE.channels(200.0, 0.3, 2)
MILD = air_from_relative_humidity(20.0, 100.0, 50.0)
ROWS = len(PLAIN["time_s"])


def _codes(curve):
    return [flag.code for flag in curve.flags]


def _flag(curve, code):
    return next(flag for flag in curve.flags if flag.code == code)


def test_a_clean_pull_has_nothing_to_say():
    curve = read_sweep(PLAIN, MADE.calibration(), MILD, SPARK, SweepSettings())
    assert curve.flags == ()
    assert curve.counts == {}


def test_no_weather_means_observed_and_says_so():
    curve = read_sweep(PLAIN, MADE.calibration(), None, SPARK, SweepSettings("iso_1585"))
    assert curve.standard == "observed"
    assert curve.factor is None
    assert np.array_equal(curve.power_w, curve.observed_power_w)
    assert _codes(curve) == ["no_weather"]


def test_observed_needs_no_weather():
    curve = read_sweep(PLAIN, MADE.calibration(), None, SPARK, OBSERVED)
    assert curve.flags == ()
    assert curve.factor == 1.0


def test_a_factor_outside_the_limits_is_flagged():
    curve = read_sweep(PLAIN, MADE.calibration(), Air(25.0, 82.7, 0.9), SPARK, SweepSettings("sae_j1349"))
    assert _codes(curve) == ["factor_outside_limits"]
    assert not curve.factor_valid
    assert curve.power_w[5] > 1.2 * curve.observed_power_w[5]


@pytest.mark.parametrize("aspiration", ["turbo", "mechanical"])
def test_a_charged_engine_that_holds_its_own_boost_is_corrected_twice(aspiration):
    engine = Engine("spark", aspiration, holds_own_boost=True)
    assert _codes(read_sweep(PLAIN, MADE.calibration(), MILD, engine, SweepSettings())) == ["corrected_twice"]
    assert read_sweep(PLAIN, MADE.calibration(), MILD, engine, OBSERVED).flags == ()
    assert _codes(read_sweep(PLAIN, MADE.calibration(), None, engine, SweepSettings())) == ["no_weather"]


@pytest.mark.parametrize(("aspiration", "holds"), [("natural", True), ("turbo", False), ("mechanical", False)])
def test_an_engine_without_boost_of_its_own_to_hold_is_corrected_once(aspiration, holds):
    engine = Engine("spark", aspiration, holds_own_boost=holds)
    assert read_sweep(PLAIN, MADE.calibration(), MILD, engine, SweepSettings()).flags == ()


def test_slip_beyond_one_and_a_half_per_cent_is_flagged_and_told_where():
    rising = np.linspace(0.0, 1.0, ROWS)
    slipping = PLAIN | {"engine_speed_rpm": PLAIN["engine_speed_rpm"] * (1.0 + 0.03 * rising**4)}
    curve = read(MADE, slipping)
    assert _codes(curve) == ["wheel_slip"]
    assert curve.ratio_drift == pytest.approx(0.03, abs=0.004)
    assert "rev/min" in _flag(curve, "wheel_slip").text
    fine = PLAIN | {"engine_speed_rpm": PLAIN["engine_speed_rpm"] * (1.0 + 0.01 * rising**4)}
    assert read(MADE, fine).flags == ()


def test_engine_speed_dropouts_are_bridged_and_counted():
    broken = PLAIN["engine_speed_rpm"].copy()
    broken[400:430] = 0.0
    broken[900] = np.nan
    broken[1200:1203] = 65535.0
    curve = read(MADE, PLAIN | {"engine_speed_rpm": broken})
    assert curve.counts["engine_speed_dropouts"] == 34
    assert _codes(curve) == ["dropouts"]
    assert np.allclose(curve.power_w, read(MADE, PLAIN).power_w, rtol=1e-4)


@pytest.mark.parametrize("every", [37, 19, 5])
@pytest.mark.parametrize("times", [1.3, 0.7, 1.1])
def test_spikes_of_engine_speed_are_left_out_and_told(every, times):
    spiked = PLAIN["engine_speed_rpm"].copy()
    spiked[3::every] *= times
    curve = read(MADE, PLAIN | {"engine_speed_rpm": spiked})
    assert _codes(curve) == ["dropouts"]
    in_sweep = (PLAIN["time_s"] >= curve.sweep_s[0]) & (PLAIN["time_s"] <= curve.sweep_s[1])
    assert curve.counts["engine_speed_dropouts"] == int((spiked != PLAIN["engine_speed_rpm"])[in_sweep].sum())
    assert np.allclose(curve.power_w, read(MADE, PLAIN).power_w, rtol=2e-4)


@pytest.mark.parametrize("noise_rpm", [5.0, 40.0])
def test_noise_of_engine_speed_is_no_spike(noise_rpm):
    noisy = PLAIN["engine_speed_rpm"] + np.random.default_rng(3).normal(0.0, noise_rpm, ROWS)
    assert read(MADE, PLAIN | {"engine_speed_rpm": noisy}).flags == ()


@pytest.mark.parametrize("held_rows", [4, 20])
def test_engine_speed_that_is_told_less_often_is_no_spike(held_rows):
    held = np.repeat(PLAIN["engine_speed_rpm"][::held_rows], held_rows)[:ROWS]
    assert "dropouts" not in _codes(read(MADE, PLAIN | {"engine_speed_rpm": held}))


def test_a_clutch_that_lets_go_for_a_moment_is_slip_and_no_spike():
    flared = PLAIN["engine_speed_rpm"].copy()
    flared[1200:1300] *= 1.08  # half a second
    assert _codes(read(MADE, PLAIN | {"engine_speed_rpm": flared})) == ["wheel_slip"]


def test_engine_speed_that_is_mostly_gone_gives_way_to_the_stated_ratio():
    gone = PLAIN | {"engine_speed_rpm": np.zeros(ROWS)}
    curve = read(MADE, gone, SweepSettings("observed", engine_turns_per_roller_turn=RATIO))
    assert _codes(curve) == ["engine_speed_from_ratio"]
    assert curve.ratio == RATIO


def test_repeated_backward_and_blank_stamps_are_dropped_and_counted():
    time = PLAIN["time_s"].copy()
    time[500] = time[499]
    time[800] = time[700]
    time[1000] = np.nan
    curve = read(MADE, PLAIN | {"time_s": time})
    assert curve.counts == {"repeated_stamps": 1, "backward_stamps": 1, "blank_stamps": 1}
    assert _codes(curve) == ["time_repaired"]
    (flag,) = curve.flags
    for told in ("blank (1, at 5.00 s)", "repeated (1, at 2.50 s)", "backward (1, at 4.00 s)"):
        assert told in flag.text
    assert np.allclose(curve.power_w, read(MADE, PLAIN).power_w, rtol=3e-3)


def test_rows_whose_stamp_is_dropped_keep_their_pulses():
    pulses = MADE.channels(200.0, pulses=60)
    counts = pulses.pop("roller_pulses")
    pulses["roller_pulse_increments"] = np.diff(counts, prepend=counts[0])
    whole = read(MADE, pulses, pulses_per_turn=60.0)
    time = pulses["time_s"].copy()
    time[700:720] = time[699]
    curve = read(MADE, pulses | {"time_s": time}, pulses_per_turn=60.0)
    assert curve.counts["repeated_stamps"] == 20
    both = np.intersect1d(curve.engine_speed_rpm, whole.engine_speed_rpm)[5:-5]
    assert np.allclose(curve.on_grid(both), whole.on_grid(both), rtol=0.02)


def test_a_long_gap_ends_the_sweep_and_a_short_one_is_bridged():
    time = PLAIN["time_s"]
    short = (time < 5.0) | (time > 5.2)
    curve = read(MADE, {name: values[short] for name, values in PLAIN.items()})
    assert curve.counts == {"time_gaps": 1}
    assert "1 gap in time was bridged or, where long, ends the sweep, at 5.00 s" in curve.flags[0].text
    assert curve.sweep_s[1] - curve.sweep_s[0] > 9.0
    long = (time < 2.5) | (time > 4.0)
    cut = read(MADE, {name: values[long] for name, values in PLAIN.items()})
    assert cut.sweep_s[0] >= 4.0
    assert "interrupted_sweep" in _codes(cut)


def test_wild_and_blank_roller_speeds_are_mended_and_counted():
    speed = PLAIN["roller_speed_rad_s"].copy()
    speed[300] = 0.0
    speed[700] = 900.0
    speed[1000:1005] = np.nan
    curve = read(MADE, PLAIN | {"roller_speed_rad_s": speed})
    assert curve.counts["roller_speed_blanks"] == 5
    assert curve.counts["roller_speed_spikes"] == 2
    assert _codes(curve) == ["roller_speed_mended"]
    assert "in 7 samples" in curve.flags[0].text
    assert "blank (5, between 5.00 and 5.02 s); wild (2, at 1.50 and 3.50 s)" in curve.flags[0].text
    assert np.allclose(curve.power_w, read(MADE, PLAIN).power_w, rtol=5e-3)


@pytest.mark.parametrize("most", [60, 256, 1000, 4096, 65536])
def test_a_pulse_counter_that_starts_over_at_a_round_figure_loses_nothing(most):
    pulses = MADE.channels(200.0, pulses=60)
    whole = read(MADE, pulses, pulses_per_turn=60.0)
    curve = read(
        MADE, pulses | {"roller_pulses": np.mod(pulses["roller_pulses"] + most - 7, most)}, pulses_per_turn=60.0
    )
    assert np.array_equal(curve.power_w, whole.power_w)
    assert curve.counts == {}


def test_a_pulse_counter_that_leaps_or_is_written_in_every_second_row_is_carried_on():
    pulses = MADE.channels(200.0, pulses=60)
    whole = read(MADE, pulses, pulses_per_turn=60.0)
    leaping, sparse = pulses["roller_pulses"].copy(), pulses["roller_pulses"].copy()
    leaping[900:] += 5000.0
    sparse[1::2] = np.nan
    leapt = read(MADE, pulses | {"roller_pulses": leaping}, pulses_per_turn=60.0)
    assert leapt.counts == {"pulse_counter_resets": 1}
    half = read(MADE, pulses | {"roller_pulses": sparse}, pulses_per_turn=60.0)
    assert half.counts == {"pulse_blanks": int(np.isnan(sparse).sum())}
    # at the leap one pulse more or less was guessed, and half the counts tell half as much
    assert errors_pct(MADE, whole)[0] < 0.7
    assert errors_pct(MADE, leapt)[0] < 1.4
    assert errors_pct(MADE, half)[0] < 0.7


def test_a_roller_with_few_pulses_a_turn_has_no_leaps():
    pulses = MADE.channels(200.0, pulses=4)  # in most rows there is none, in others one
    assert roller_signal(pulses, MADE.calibration(pulses_per_turn=4.0)).counts == {}


def test_a_pulse_counter_that_starts_again_is_carried_on():
    pulses = MADE.channels(100.0, pulses=60)
    whole = read(MADE, pulses, pulses_per_turn=60.0)
    reset = pulses["roller_pulses"].copy()
    reset[500:] -= reset[500]
    curve = read(MADE, pulses | {"roller_pulses": reset}, pulses_per_turn=60.0)
    assert curve.counts["pulse_counter_resets"] == 1
    both = np.intersect1d(curve.engine_speed_rpm, whole.engine_speed_rpm)[5:-5]
    assert np.allclose(curve.on_grid(both), whole.on_grid(both), rtol=0.02)


def _with_lead_in(throttle_full=100.0):
    """Three steady seconds at part throttle, the sweep, three seconds of coasting."""
    rate = 1.0 / 200.0
    lead, tail = np.arange(600) * rate, np.arange(600) * rate
    speed = PLAIN["roller_speed_rad_s"]
    full = np.concatenate([np.full(600, speed[0]), speed, speed[-1] - 4.0 * tail])
    time = np.arange(len(full)) * rate
    throttle = np.concatenate([np.full(600, 20.0), np.full(len(speed), throttle_full), np.zeros(600)])
    channels = {"time_s": time, "roller_speed_rad_s": full, "engine_speed_rpm": full * RPM * RATIO}
    return channels, throttle, (lead[-1], lead[-1] + 10.0)


def test_the_sweep_is_where_throttle_is_full():
    channels, throttle, (start, end) = _with_lead_in()
    curve = read(MADE, channels | {"throttle_pct": throttle})
    assert start <= curve.sweep_s[0] <= start + 0.2
    assert end - 0.2 <= curve.sweep_s[1] <= end + 0.01
    assert curve.flags == ()


def test_the_sweep_is_the_steady_rise_where_throttle_is_unknown():
    channels, throttle, (start, end) = _with_lead_in()
    curve = read(MADE, channels)
    assert abs(curve.sweep_s[0] - start) < 0.4
    assert abs(curve.sweep_s[1] - end) < 0.4
    known = read(MADE, channels | {"throttle_pct": throttle})
    both = np.intersect1d(curve.engine_speed_rpm, known.engine_speed_rpm)[4:-4]
    assert np.allclose(curve.on_grid(both), known.on_grid(both), rtol=5e-3)


def test_a_throttle_that_never_opens_is_told_and_the_rise_taken():
    channels, throttle, _ = _with_lead_in(throttle_full=42.0)
    assert _codes(read(MADE, channels | {"throttle_pct": throttle})) == ["closed_throttle"]


@pytest.mark.parametrize("fault", ["noise", "a wild sample", "single samples lost"])
def test_a_poor_throttle_sensor_does_not_break_the_sweep(fault):
    channels, throttle, (start, end) = _with_lead_in()
    poor = throttle + np.random.default_rng(4).normal(0.0, 1.2 if fault == "noise" else 0.0, len(throttle))
    if fault == "a wild sample":
        poor[1200] = 400.0
    if fault == "single samples lost":
        poor[700:2000:97] = 0.0
    curve = read(MADE, channels | {"throttle_pct": poor})
    assert start <= curve.sweep_s[0] <= start + 0.2
    assert end - 0.2 <= curve.sweep_s[1] <= end + 0.01
    assert curve.flags == ()


def test_a_lift_in_the_middle_is_an_interrupted_sweep():
    channels, throttle, _ = _with_lead_in()
    throttle = throttle.copy()
    throttle[1500:1560] = 0.0
    assert "interrupted_sweep" in _codes(read(MADE, channels | {"throttle_pct": throttle}))


def test_a_short_sweep_is_told():
    short = sweep_lasting(1.5, rounded)
    assert _codes(read(short, short.channels(200.0, 0.1))) == ["short_sweep"]


@pytest.mark.parametrize(
    ("channels", "word"),
    [
        ({"roller_speed_rad_s": PLAIN["roller_speed_rad_s"]}, "time"),
        ({"time_s": PLAIN["time_s"]}, "roller speed"),
        ({"time_s": PLAIN["time_s"][:10], "roller_speed_rad_s": PLAIN["roller_speed_rad_s"][:10]}, "rows"),
        ({"time_s": PLAIN["time_s"], "roller_speed_rad_s": np.full(ROWS, 80.0)}, "faster|rise"),
        ({"time_s": PLAIN["time_s"], "roller_speed_rad_s": PLAIN["roller_speed_rad_s"][::-1].copy()}, "faster|rise"),
        ({"time_s": PLAIN["time_s"], "roller_pulses": np.arange(ROWS) * 1.0}, "make a turn"),
        (PLAIN | {"brake_force_n": np.ones(ROWS)}, "arm"),
        ({"time_s": np.full(ROWS, np.nan), "roller_speed_rad_s": PLAIN["roller_speed_rad_s"]}, "time"),
        ({"time_s": PLAIN["time_s"], "roller_speed_rad_s": np.full(ROWS, np.nan)}, "blank"),
    ],
)
def test_what_is_no_sweep_is_refused_with_a_reason(channels, word):
    with pytest.raises(SweepError, match=word):
        read(MADE, channels)


@pytest.mark.parametrize("settings", [
    SweepSettings("observed", window_s=40.0),
    SweepSettings("observed", window_s=-1.0),
    SweepSettings("observed", step_rpm=0.0),
    SweepSettings("observed", step_rpm=9000.0),
    SweepSettings("observed", band_rpm=(100.0, 3000.0)),
])  # fmt: skip
def test_settings_that_cannot_be_are_refused(settings):
    with pytest.raises(SweepError):
        read(MADE, PLAIN, settings)


def _lambda(measured_over=0.0, falls=0.0):
    rising = np.linspace(0.0, 1.0, ROWS)
    commanded = 0.92 - falls * rising
    return {"lambda_commanded": commanded, "lambda_measured": commanded + measured_over * (rising > 0.6)}


def test_leaner_than_commanded_under_load_comes_first():
    curve = read_sweep(PLAIN | _lambda(0.08), MADE.calibration(), None, SPARK, SweepSettings())
    assert _codes(curve) == ["lean_under_load", "no_weather"]
    assert "commanded" in curve.flags[0].text


def test_lean_without_a_command_is_told_against_stoichiometric():
    curve = read(MADE, PLAIN | {"lambda_measured": np.full(ROWS, 1.06)})
    assert _codes(curve) == ["lean_under_load"]


def test_richness_that_is_commanded_is_not_blamed_on_the_fuel_map():
    curve = read(MADE, PLAIN | _lambda(falls=0.2))
    assert _codes(curve) == ["rich_by_command"]
    assert "not at the fuel map" in curve.flags[0].text


def test_the_usual_enrichment_towards_the_top_is_not_remarked_on():
    assert read(MADE, PLAIN | _lambda(falls=0.09)).flags == ()


def test_a_mixture_that_follows_a_steady_command_says_nothing():
    assert read(MADE, PLAIN | _lambda()).flags == ()


def test_a_diesel_that_runs_lean_is_a_diesel():
    lean = PLAIN | {"lambda_measured": np.full(ROWS, 1.4)}
    assert read_sweep(lean, MADE.calibration(), None, Engine("compression", "turbo"), OBSERVED).flags == ()


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("seed", range(40))
def test_any_numbers_at_all_are_read_or_refused_with_a_reason(seed):
    chance = np.random.default_rng(seed)
    rows = int(chance.integers(25, 900))
    time = np.arange(rows) * chance.choice([0.001, 0.005, 0.02, 0.1])
    speed = np.linspace(5.0, 5.0 + chance.uniform(1.0, 200.0), rows)
    speed += chance.choice([0.0, 0.1, 5.0]) * chance.normal(size=rows) + np.cumsum(chance.normal(0.0, 0.3, rows))
    channels = {"time_s": time, "roller_speed_rad_s": np.where(chance.random(rows) < 0.05, 0.0, speed)}
    if seed % 3 == 0:
        channels = {"time_s": time, "roller_pulses": np.floor(np.cumsum(np.abs(speed)) * 10.0)}
    if seed % 2:
        channels["engine_speed_rpm"] = speed * 40.0 + chance.normal(0.0, 60.0, rows)
        channels["throttle_pct"] = np.where(time > 0.3 * time[-1], 100.0, 12.0)
        channels["brake_torque_nm"] = np.where(chance.random(rows) < 0.1, np.nan, 90.0)
        channels["lambda_measured"] = np.where(chance.random(rows) < 0.5, np.nan, 0.88)
    try:
        curve = read(MADE, channels, pulses_per_turn=60.0)
    except SweepError as refused:
        curve, said = None, str(refused)
    if curve is None:
        assert len(said) > 40
    else:
        assert np.isfinite(curve.power_w).all()
        assert curve.headline.peak_power_w.expanded_uncertainty > 0.0
