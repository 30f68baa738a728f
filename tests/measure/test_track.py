"""The cube-root rules held to printed constants, to road tests, and to a car that puts constant power into mass."""

import re
from math import sqrt

import numpy as np
import pytest

from pullbook.measure.track import (
    DISTANCES_M,
    QUARTER_MILE_M,
    RULES,
    SPREAD,
    USUAL_RULE,
    elapsed_for_s,
    gathered,
    implied_powers,
    plausible,
    trap_for_m_s,
)
from pullbook.measure.units import to_inside
from tests.published.published_rows import case, published

ROWS = published("dragstrip")
SINGLE = [row for row in ROWS if row.inputs["mass_lb"].isdecimal()]
TESTED = [row for row in ROWS if row.inputs["formula"].startswith("mtcars")]


def _kg(lb):
    return float(to_inside(lb, "lb"))


def _w(hp):
    return float(to_inside(hp, "hp"))


@pytest.mark.parametrize("row", SINGLE, ids=case)
def test_elapsed_time_and_trap_speed_are_the_printed_ones(row):
    name, quantity = re.fullmatch(r"(.+_\d{4})_(ET_s|trap_mph)", row.inputs["formula"]).groups()
    mass, power = _kg(row.number("mass_lb")), _w(row.number("power_hp"))
    if quantity == "ET_s":
        row.assert_near(elapsed_for_s(power, mass, rule=name.lower()))
    else:
        row.assert_near(trap_for_m_s(power, mass, rule=name.lower()) / 0.44704)


def _road_tests(added_lb=0.0):
    rows = published("road_tests")
    masses = np.array([_kg(row.number("mass_lb") + added_lb) for row in rows])
    powers = np.array([_w(row.number("power_hp")) for row in rows])
    return masses, powers, np.array([float(row.expected) for row in rows])


@pytest.mark.parametrize("row", TESTED, ids=case)
def test_the_rule_misses_road_tests_by_as_much_as_was_found_elsewhere(row):
    added = float(row.inputs["mass_lb"].rpartition("+")[2])
    masses, powers, timed = _road_tests(added)
    unit = RULES[USUAL_RULE].elapsed
    shape = np.array([elapsed_for_s(p, m) for p, m in zip(powers, masses, strict=True)]) / unit
    word = row.inputs["formula"].rpartition("_with_")[2]
    constant = float(timed @ shape / (shape @ shape)) if word == "fit" else float(word)
    missed = timed - constant * shape
    row.assert_near(sqrt(np.mean(missed**2)) if "_rms_" in row.inputs["formula"] else float(np.mean(missed)))


def test_the_spread_that_is_said_is_that_of_the_road_tests():
    masses, powers, timed = _road_tests()
    ruled = np.array([elapsed_for_s(p, m) for p, m in zip(powers, masses, strict=True)])
    of_time = sqrt(np.mean((timed / ruled - 1.0) ** 2))
    assert 3.0 * of_time == pytest.approx(SPREAD, abs=0.006)
    implied = np.array(
        [implied_powers(m, QUARTER_MILE_M, t, None)[0].power_w for m, t in zip(masses, timed, strict=True)]
    )
    within_two = np.mean(np.abs(powers / implied - 1.0) <= 2.0 * SPREAD)
    assert within_two >= 0.9


def test_the_usual_rule_is_the_one_that_misses_the_road_tests_least():
    masses, powers, timed = _road_tests()
    missed = {
        name: abs(np.mean([elapsed_for_s(p, m, rule=name) for p, m in zip(powers, masses, strict=True)] - timed))
        for name in RULES
    }
    assert min(missed, key=missed.get) == USUAL_RULE


def test_other_distances_follow_a_car_that_puts_constant_power_into_its_mass():
    """Integrated numerically from a standing start: the law by which the rules are carried to other distances."""
    power, mass = 200_000.0, 1300.0
    time = np.linspace(0.0, 60.0, 600_001)[1:]
    speed = np.sqrt(2.0 * power * time / mass)
    way = np.cumsum(speed) * (time[1] - time[0])
    quarter_s = np.interp(QUARTER_MILE_M, way, time)
    quarter_m_s = np.interp(QUARTER_MILE_M, way, speed)
    for distance in DISTANCES_M.values():
        ratio = elapsed_for_s(power, mass, distance) / elapsed_for_s(power, mass)
        assert ratio == pytest.approx(np.interp(distance, way, time) / quarter_s, rel=1e-4)
        ratio = trap_for_m_s(power, mass, distance) / trap_for_m_s(power, mass)
        assert ratio == pytest.approx(np.interp(distance, way, speed) / quarter_m_s, rel=1e-4)


@pytest.mark.parametrize("distance", DISTANCES_M.values())
@pytest.mark.parametrize("rule", RULES)
def test_the_way_back_from_time_and_speed_gives_the_power_again(rule, distance):
    elapsed = elapsed_for_s(180_000.0, 1350.0, distance, rule)
    trap = trap_for_m_s(180_000.0, 1350.0, distance, rule)
    by_time, by_speed = implied_powers(1350.0, distance, elapsed, trap, rule)
    assert (by_time.by, by_speed.by) == ("elapsed", "trap")
    assert by_time.power_w == pytest.approx(180_000.0)
    assert by_speed.power_w == pytest.approx(180_000.0)
    assert (by_time.low_w, by_time.high_w) == pytest.approx((149_400.0, 210_600.0))


def test_one_per_cent_of_time_is_three_per_cent_of_power():
    (slow,) = implied_powers(1300.0, QUARTER_MILE_M, 13.0 * 1.01, None)
    (fast,) = implied_powers(1300.0, QUARTER_MILE_M, 13.0, None)
    assert fast.power_w / slow.power_w == pytest.approx(1.01**3)


def test_a_strip_is_marked_in_exact_metres():
    assert DISTANCES_M["quarter mile"] == pytest.approx(1320 * 0.3048)
    assert DISTANCES_M["eighth of a mile"] == pytest.approx(660 * 0.3048)
    assert DISTANCES_M["1 000 ft"] == pytest.approx(1000 * 0.3048)


def test_runs_of_a_setup_are_gathered_with_their_scatter():
    found = gathered([100.0, 104.0, 102.0])
    assert (found.power_w, found.scatter_w, found.counted) == (102.0, 2.0, 3)
    assert gathered([100.0]).scatter_w is None
    assert gathered([]) is None


@pytest.mark.parametrize(
    ("wheel_w", "word"), [(85e3, "plausible"), (100e3, "plausible"), (120e3, "wheel_high"), (60e3, "wheel_low")]
)
def test_only_what_neither_spread_nor_driveline_explains_is_remarkable(wheel_w, word):
    assert plausible(100e3, wheel_w) == word
