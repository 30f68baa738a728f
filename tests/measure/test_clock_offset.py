"""Two recordings of one engine, on clocks of their own, find each other; those that cannot are told why.

The truth is the forward model's, which knows nothing of how the offset is found.
"""

from functools import cache

import numpy as np
import pytest

from pullbook.measure.alignment import clock_offset
from seed_demo.instruments import Instruments, record
from seed_demo.rolling_road import Car, Engine, Pull, Roller, Run, roller_for_sweep_of
from seed_demo.shapes import smooth

TORQUE = smooth((1500, 150), (2500, 190), (3500, 215), (4500, 222), (5500, 210), (6500, 180), (7000, 160))
REACHED_S = 0.030  # what is wanted of two clocks
WAYS = ("its own stamps", "held in faster rows", "lines between")


@cache
def _run(seconds):
    car, pull = Car(Engine(TORQUE), turns=5.0), Pull()
    return Run(car, roller_for_sweep_of(seconds, car, Roller(), pull), pull)


def _fast(run, seed):
    seen = record(run, Instruments(engine_speed_noise_rpm=6.0, engine_speed_dropouts=0.01), seed)
    return seen["time_s"], seen["engine_speed_rpm"]


def _slow(run, seed, ahead_s, way="its own stamps", start=0.0, until=0.0):
    """Engine speed ten times a second in quarters of a rev/min (as SAE J1979 gives it), on a clock ahead by that."""
    chance = np.random.default_rng(seed)
    when = np.arange(start + chance.uniform(0.0, 0.1), run.duration_s - until, 0.1)
    rpm = np.round(4.0 * (run.at(when).engine_speed_rpm + chance.normal(0.0, 8.0, len(when)))) / 4.0
    when = when + ahead_s
    rows = np.arange(when[0], when[-1], 0.005)
    if way == "held in faster rows":
        return rows, rpm[np.searchsorted(when, rows, side="right") - 1]
    return (rows, np.interp(rows, when, rpm)) if way == "lines between" else (when, rpm)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("seconds", [4.0, 14.0])
def test_clocks_are_aligned_within_30_ms_with_the_sign_right(seconds, way):
    for seed in range(12):
        ahead = float(np.random.default_rng(100 + seed).uniform(-300.0, 300.0))
        slow = _slow(_run(seconds), seed, ahead, way, start=0.4, until=0.3)
        there, back = clock_offset(*_fast(_run(seconds), seed), *slow), clock_offset(*slow, *_fast(_run(seconds), seed))
        assert there.reason is None
        assert abs(there.offset_s + ahead) < REACHED_S  # added to the second's stamps, it gives the first's
        assert abs(back.offset_s - ahead) < REACHED_S
        assert there.u_s < 0.5 * REACHED_S
        assert there.residual_rpm < 40.0
        assert there.matched_share > 0.95


def test_a_pull_is_found_in_a_long_log_that_holds_other_pulls_too():
    logs = [_slow(_run(seconds), 5, at) for seconds, at in ((6.0, 0.0), (14.0, 60.0), (4.0, 180.0))]
    idle = (np.arange(90.0, 170.0, 0.1), np.full(800, 850.0))
    when, rpm = (np.concatenate(parts) for parts in zip(*logs, idle, strict=True))
    found = clock_offset(*_fast(_run(14.0), 5), when, rpm)
    assert found.offset_s == pytest.approx(-60.0, abs=REACHED_S)
    assert found.next_best_residual_rpm > 2.0 * found.residual_rpm
    assert found.matched_share == pytest.approx(1.0, abs=0.02)


def test_two_pulls_alike_in_one_log_are_not_chosen_between():
    logs = [_slow(_run(6.0), 5, at) for at in (0.0, 60.0)]
    when, rpm = (np.concatenate(parts) for parts in zip(*logs, strict=True))
    found = clock_offset(*_fast(_run(6.0), 5), when, rpm)
    assert found.offset_s is None
    assert "fit about as well at" in found.reason


def test_an_engine_that_keeps_its_speed_fits_at_no_offset():
    time, rpm = _fast(_run(6.0), 1)
    steady = np.arange(0.0, 20.0, 0.1)
    for args in ((time, rpm, steady, np.full(200, 3000.0)), (steady, np.full(200, 3000.0), time, rpm)):
        found = clock_offset(*args)
        assert found.offset_s is None
        assert "hardly changes" in found.reason
        assert "by hand" in found.reason


def test_another_engine_is_not_matched():
    time, rpm = _fast(_run(14.0), 1)
    other = np.arange(0.0, 18.0, 0.1)
    found = clock_offset(time, rpm, other, 3000.0 + 900.0 * np.sin(other) + 300.0 * np.sin(2.7 * other))
    assert found.offset_s is None
    assert "not the same engine at the same time" in found.reason


@pytest.mark.parametrize(
    ("when", "rpm"),
    [
        ([], []),
        ([0.0], [900.0]),
        (np.arange(30.0), np.full(30, np.nan)),
        (np.arange(30.0), np.zeros(30)),
        (np.full(30, 5.0), np.linspace(900.0, 6000.0, 30)),
        (np.append(np.arange(0.0, 5.0, 0.1), 1.8e9), np.linspace(900.0, 6000.0, 51)),
        (np.arange(0.0, 2.0, 0.1), np.linspace(900.0, 6000.0, 20)),
    ],
)
def test_what_is_no_recording_is_refused_with_a_reason(when, rpm):
    found = clock_offset(*_fast(_run(6.0), 1), np.array(when, dtype=float), np.array(rpm, dtype=float))
    assert found.offset_s is None
    assert found.u_s is None
    assert "by hand" in found.reason


def test_unordered_and_repeated_stamps_are_put_in_order_first():
    when, rpm = _slow(_run(6.0), 3, 12.5)
    again = np.random.default_rng(1).permutation(np.repeat(np.arange(len(when)), 2))
    found = clock_offset(*_fast(_run(6.0), 3), when[again], rpm[again])
    assert found.offset_s == pytest.approx(-12.5, abs=REACHED_S)
