"""Limits held against signals whose passing is known: when it began, how long it lasted, how far it went."""

import numpy as np
import pytest

from pullbook.measure.limits import BRIDGED_S, LATE_S, LIMIT_RULES, SETTLING_S, check_limits

HERTZ = 100.0
TIME = np.arange(1000) / HERTZ  # ten seconds
ENGINE = 2000.0 + 500.0 * TIME
FULL = np.where((TIME >= 2.0) & (TIME < 8.0), 100.0, 15.0)  # full throttle from 2 s to 8 s


def _pull(**channels):
    return {"time_s": TIME, "engine_speed_rpm": ENGINE, "throttle_pct": FULL, **channels}


def _only(channels, quantity, limit, **more):
    (checked,) = check_limits(channels, {quantity: limit}, **more)
    return checked


def _bump(start, stop, inside, outside):
    return np.where((start - 1e-9 <= TIME) & (stop - 1e-9 > TIME), inside, outside)


def test_a_temperature_over_its_limit_is_told_with_moment_speed_duration_and_excess():
    oil = 120.0 + 2.0 * TIME  # passes 130 at 5 s, ends at 139.98
    checked = _only(_pull(oil_temperature_c=oil), "oil_temperature_c_above", 130.0)
    (one,) = checked.passings
    assert one.first_s == pytest.approx(5.0, abs=1.5 / HERTZ)
    assert one.engine_speed_rpm == pytest.approx(4500.0, abs=10.0)
    assert one.lasted_s == pytest.approx(5.0, abs=2.0 / HERTZ)
    assert checked.by == pytest.approx(9.98)
    assert one.worst_engine_speed_rpm == pytest.approx(ENGINE[-1])
    assert checked.looked_at_s == pytest.approx(10.0)


def test_a_value_at_its_limit_has_not_passed_it():
    checked = _only(_pull(oil_temperature_c=np.full(1000, 130.0)), "oil_temperature_c_above", 130.0)
    assert not checked.passed
    assert checked.closest == 130.0


@pytest.mark.parametrize(("quantity", "rule"), LIMIT_RULES.items())
def test_what_is_shorter_than_its_rule_says_is_brief_and_does_not_count(quantity, rule):
    limit = 100.0 if rule.sign > 0 else 300.0
    for length_s, counts in ((rule.lasting_s - 0.02, 0), (rule.lasting_s + 0.02, 1)):
        values = _bump(5.0, 5.0 + length_s, limit + 10.0 * rule.sign, limit - 10.0 * rule.sign)
        checked = _only(_pull(**{rule.channel: values}), quantity, limit)
        assert (len(checked.passings), checked.brief) == (counts, 1 - counts)


def test_a_short_way_back_is_the_same_passing_and_a_longer_one_parts_two():
    for gap_s, passings in ((BRIDGED_S - 0.03, 1), (BRIDGED_S + 0.03, 2)):
        values = _bump(4.0, 4.5, 6.0, 0.0) + _bump(4.5 + gap_s, 5.2, 6.0, 0.0)
        checked = _only(_pull(knock_retard_deg=values), "knock_retard_deg_beyond", 4.0)
        assert len(checked.passings) == passings


def test_knock_retard_counts_by_its_size_whichever_sign_the_logger_gives():
    for sign in (1.0, -1.0):
        values = _bump(4.0, 4.2, 5.5 * sign, 0.0)
        checked = _only(_pull(knock_retard_deg=values), "knock_retard_deg_beyond", 4.0)
        assert checked.by == pytest.approx(1.5)


def test_fuel_pressure_counts_under_load_alone():
    idle_only = np.where(FULL > 50.0, 350.0, 200.0)
    assert not _only(_pull(fuel_pressure_kpa=idle_only), "fuel_pressure_kpa_below", 300.0).passed
    sagging = _bump(6.0, 7.0, 260.0, 350.0)
    checked = _only(_pull(fuel_pressure_kpa=sagging), "fuel_pressure_kpa_below", 300.0)
    assert checked.by == pytest.approx(40.0)
    assert checked.lasted_s == pytest.approx(1.0, abs=0.02)
    assert "throttle 80 %" in checked.load_by


def test_lean_on_the_overrun_passes_no_limit_though_the_probe_tells_it_late():
    for late in (0.0, 0.3, 0.9):
        told = np.interp(TIME - late, TIME, np.where(FULL > 50.0, 0.86, 1.4))
        for lag in (None, late):
            checked = _only(_pull(lambda_measured=told), "lambda_leaner_than", 0.90, lag_s=lag)
            assert not checked.passed, (late, lag)


def test_a_probe_that_answers_gradually_passes_no_limit_when_the_throttle_shuts():
    burnt, tau = np.where(FULL > 50.0, 0.86, 1.4), 0.12
    for way_s in (0.2, 0.35, 0.6):
        here = np.interp(TIME - way_s, TIME, burnt)
        told = here.copy()
        for place in range(1, len(told)):
            told[place] = told[place - 1] + (here[place] - told[place - 1]) / HERTZ / tau
        checked = _only(_pull(lambda_measured=told), "lambda_leaner_than", 0.90, lag_s=way_s + tau)
        assert not checked.passed, way_s
        assert checked.looked_at_s > 5.0


def test_lean_under_load_is_told_at_the_moment_it_was_burnt():
    lag = 0.4
    burnt = _bump(5.0, 6.0, 0.97, 0.86)
    told = np.interp(TIME - lag, TIME, burnt)
    known = _only(_pull(lambda_measured=told), "lambda_leaner_than", 0.90, lag_s=lag)
    assert known.passings[0].first_s == pytest.approx(5.0, abs=2.5 / HERTZ)
    assert known.passings[0].engine_speed_rpm == pytest.approx(4500.0, abs=15.0)
    assert known.by == pytest.approx(0.07)
    unknown = _only(_pull(lambda_measured=told), "lambda_leaner_than", 0.90)
    assert unknown.passings[0].first_s == pytest.approx(5.0 + lag, abs=2.5 / HERTZ)


def test_lean_counts_only_once_the_mixture_has_had_time_to_settle():
    settling = np.where(TIME < 2.0 + SETTLING_S, 1.0, 0.86)  # λ 1 until just after the throttle opened
    assert not _only(_pull(lambda_measured=settling), "lambda_leaner_than", 0.90, lag_s=0.0).passed
    longer = np.where(TIME < 2.0 + SETTLING_S + 0.2, 1.0, 0.86)
    assert _only(_pull(lambda_measured=longer), "lambda_leaner_than", 0.90, lag_s=0.0).passed
    looked_at = _only(_pull(lambda_measured=settling), "lambda_leaner_than", 0.90).looked_at_s
    assert looked_at == pytest.approx(6.0 - LATE_S, abs=0.05)


def test_boost_at_part_throttle_is_load():
    channels = _pull(
        throttle_pct=np.full(1000, 45.0),
        manifold_pressure_kpa=_bump(3.0, 7.0, 150.0, 60.0),
        lambda_measured=_bump(5.0, 6.0, 1.02, 0.85),
    )
    assert _only(channels, "lambda_leaner_than", 0.90, lag_s=0.0).lasted_s == pytest.approx(1.0, abs=0.02)


def test_pressure_that_stands_before_a_shut_throttle_is_no_load():
    pressure = np.where(TIME < 8.5, 180.0, 60.0)  # half a second longer than the throttle is open
    channels = _pull(manifold_pressure_kpa=pressure, fuel_pressure_kpa=np.where(FULL > 50.0, 350.0, 200.0))
    assert not _only(channels, "fuel_pressure_kpa_below", 300.0).passed


def test_without_throttle_or_pressure_load_is_a_speed_that_does_not_fall():
    speed = np.where(TIME < 7.0, 2000.0 + 500.0 * TIME, 5500.0 - 900.0 * (TIME - 7.0))
    channels = {"time_s": TIME, "engine_speed_rpm": speed, "lambda_measured": np.where(TIME < 7.1, 0.86, 1.4)}
    checked = _only(channels, "lambda_leaner_than", 0.90, lag_s=0.1)
    assert not checked.passed
    assert "does not fall" in checked.load_by
    assert checked.looked_at_s > 6.0


def test_gauge_pressure_is_made_absolute_by_the_air_of_the_day():
    gauge = _bump(4.0, 5.0, 62.0, -40.0)
    checked = _only(_pull(manifold_gauge_kpa=gauge), "manifold_pressure_kpa_above", 150.0, station_pressure_kpa=95.0)
    assert checked.by == pytest.approx(7.0)
    nothing = _only(_pull(manifold_gauge_kpa=gauge), "manifold_pressure_kpa_above", 150.0)
    assert nothing.why_not is not None
    assert "no weather reading" in nothing.why_not


def test_what_is_not_in_the_file_cannot_be_checked_and_says_so():
    limits = {"oil_temperature_c_above": 130.0, "lambda_leaner_than": 0.9, "coolant_temperature_c_above": 105.0}
    checked = check_limits(_pull(coolant_temperature_c=np.full(1000, np.nan)), limits)
    said = {one.rule.quantity: one.why_not for one in checked}
    assert said["oil_temperature_c_above"] == "cannot be checked: no oil temperature in this file"
    assert said["lambda_leaner_than"] == "cannot be checked: no measured λ in this file"
    assert said["coolant_temperature_c_above"] == "cannot be checked: coolant temperature is blank throughout this file"


def test_without_load_nothing_is_said_of_what_counts_under_load_only():
    channels = _pull(throttle_pct=np.full(1000, 12.0), lambda_measured=np.full(1000, 1.2))
    channels["manifold_pressure_kpa"] = np.full(1000, 45.0)
    checked = _only(channels, "lambda_leaner_than", 0.9)
    assert checked.why_not is not None
    assert "never under load" in checked.why_not


def test_slow_and_gappy_channels_are_read_by_their_own_samples():
    slow = np.full(1000, np.nan)
    slow[::10] = 90.0 + 5.0 * TIME[::10]  # 10 Hz; passes 105 at 3 s
    slow[500:700] = np.nan  # two seconds without a word
    checked = _only(_pull(coolant_temperature_c=slow), "coolant_temperature_c_above", 105.0)
    assert [round(one.first_s, 1) for one in checked.passings] == [3.1, 7.0]
    assert checked.passings[0].lasted_s == pytest.approx(
        1.9 + 0.2, abs=0.06
    )  # the last sample stands for 0.3 s at most
    assert checked.looked_at_s < 9.0


def test_a_file_too_short_or_without_time_cannot_be_checked():
    few = {"time_s": TIME[:5], "oil_temperature_c": np.full(5, 150.0)}
    for channels in (few, {"oil_temperature_c": np.full(50, 150.0)}):
        checked = _only(channels, "oil_temperature_c_above", 130.0)
        assert checked.why_not is not None
        assert checked.passings == ()


def test_an_unknown_limit_is_refused():
    with pytest.raises(KeyError, match="egt"):
        check_limits(_pull(), {"egt": 900.0})


def test_several_limits_come_in_the_order_in_which_they_matter():
    channels = _pull(oil_temperature_c=np.full(1000, 140.0), lambda_measured=np.full(1000, 0.95))
    checked = check_limits(channels, {"oil_temperature_c_above": 130.0, "lambda_leaner_than": 0.9})
    assert [one.rule.quantity for one in checked] == ["lambda_leaner_than", "oil_temperature_c_above"]
