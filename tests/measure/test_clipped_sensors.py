"""A sensor at the end of its range is told, with where and what to do; one that is merely steady is not."""

import numpy as np
import pytest

from pullbook.measure.curve import SweepError
from tests.measure.made_sweeps import RATIO, RPM, read, rounded, sweep_lasting

MADE = sweep_lasting(8.0, rounded)
RATE_HZ = 200.0
PLAIN = MADE.channels(RATE_HZ, 0.2, 1)
TIME = PLAIN["time_s"]
ROWS = len(TIME)
RPM_OF_ROW = np.interp(TIME, MADE.time_s, MADE.omega) * RPM * RATIO


def _noise(size, seed=0):
    return np.random.default_rng(seed).normal(0.0, size, ROWS)


def _stepped(values, step):
    return np.round(values / step) * step


def _held(values, rows):
    return np.repeat(values[::rows], rows)[: len(values)]


RISING = 100.0 + 120.0 * np.clip((RPM_OF_ROW - 1500.0) / 4000.0, 0.0, None)  # kPa, on and on
SETTLING = 100.0 + 90.0 * (1.0 - np.exp(-np.maximum(RPM_OF_ROW - 2000.0, 0.0) / 500.0))  # boost that is controlled
RICHENING = 0.95 - 0.3 * np.clip((RPM_OF_ROW - 2500.0) / 4000.0, 0.0, 1.0)
HOLDING = 90.0 + 260.0 * np.clip((RPM_OF_ROW - 1500.0) / 4000.0, 0.0, None)  # N·m of a brake that follows the car

CLIPPED = {
    "noisy manifold pressure at 200 kPa": ("manifold_pressure_kpa", np.minimum(RISING + _noise(0.8), 200.0), "high"),
    "smooth manifold pressure at 200 kPa": ("manifold_pressure_kpa", np.minimum(RISING, 200.0), "high"),
    "whole kPa at 200": ("manifold_pressure_kpa", np.minimum(_stepped(RISING, 1.0), 200.0), "high"),
    "whole kPa, every fifth row new, at 200": (
        "manifold_pressure_kpa",
        _held(np.minimum(_stepped(RISING + _noise(0.8), 1.0), 200.0), 5),
        "high",
    ),
    "one byte full": ("manifold_pressure_kpa", np.minimum(_stepped(SETTLING * 1.36, 1.0), 255.0), "high"),
    "gauge at 1 bar": ("manifold_gauge_kpa", np.minimum(RISING - 100.0 + _noise(0.5), 100.0), "high"),
    "λ as rich as the probe tells": ("lambda_measured", np.maximum(RICHENING + _noise(0.003), 0.70), "low"),
    "λ in steps of 0.01": ("lambda_measured", np.maximum(_stepped(RICHENING + _noise(0.006), 0.01), 0.70), "low"),
    "load cell": ("brake_torque_nm", np.minimum(HOLDING + _noise(1.5), 300.0), "high"),
    "air meter": ("air_flow_g_s", np.minimum(RPM_OF_ROW / 25.0 + _noise(1.0), 200.0), "high"),
    "exhaust temperature": ("exhaust_temperature_c", np.minimum(RPM_OF_ROW / 6.0 + _noise(1.0), 900.0), "high"),
}
STEADY = {
    "boost that rounds off": SETTLING,
    "boost that rounds off, whole kPa": _stepped(SETTLING, 1.0),
    "boost that rounds off, noisy": SETTLING + _noise(0.8),
    "boost that rounds off, noisy whole kPa": _stepped(SETTLING + _noise(0.8), 1.0),
    "boost that rounds off, told ten times a second": _held(_stepped(SETTLING + _noise(0.8), 1.0), 20),
    "boost that is still rising": RISING + _noise(0.8),
    "still rising, whole kPa": _stepped(RISING, 1.0),
    "still rising, told ten times a second": _held(RISING, 20),
    "atmosphere all along": np.full(ROWS, 98.0),
    "atmosphere, whole kPa": _stepped(98.5 + _noise(0.3), 1.0),
    "atmosphere, told ten times a second": _held(_stepped(98.5 + _noise(0.4), 1.0), 20),
    "overshoot, then lower": SETTLING + 15.0 * np.exp(-(((RPM_OF_ROW - 3500.0) / 300.0) ** 2)),
    "mostly blank": np.where(np.arange(ROWS) % 20 == 0, SETTLING + _noise(0.5), np.nan),
    "blank": np.full(ROWS, np.nan),
}


def _flag(name, values):
    found = [
        flag for flag in read(MADE, PLAIN | {name: values}, brake_arm_m=0.4).flags if flag.code == "clipped_sensor"
    ]
    assert len(found) <= 1
    return found[0].text if found else None


@pytest.mark.parametrize("case", CLIPPED)
def test_a_sensor_at_its_end_is_told_with_where_and_what_to_do(case):
    name, values, truth = CLIPPED[case]
    text = _flag(name, values)
    assert text is not None
    assert f"the truth may be {truth}er" in text
    assert "rev/min" in text
    assert "Fit a sensor" in text


@pytest.mark.parametrize("name", ["manifold_pressure_kpa", "exhaust_temperature_c", "fuel_pressure_kpa"])
@pytest.mark.parametrize("case", STEADY)
def test_what_is_steady_or_still_moving_is_not_clipped(case, name):
    assert _flag(name, STEADY[case]) is None


@pytest.mark.parametrize("seed", range(20))
def test_noise_alone_is_never_clipped(seed):
    chance = np.random.default_rng(seed)
    step = chance.choice([0.0, 0.01, 0.1, 1.0])
    values = chance.choice([SETTLING, RISING, HOLDING]) + chance.normal(0.0, chance.choice([0.1, 1.0, 3.0]), ROWS)
    values = _held(_stepped(values, step) if step else values, int(chance.choice([1, 2, 10, 20])))
    assert _flag("manifold_pressure_kpa", values) is None


def test_it_says_where_the_reading_stood_still():
    text = _flag(*CLIPPED["noisy manifold pressure at 200 kPa"][:2])
    reached = float(RPM_OF_ROW[np.argmax(RISING >= 200.0)])
    told = float(text.split("(")[1].split(" to ")[0])
    assert told == pytest.approx(reached, abs=80.0)  # noise touches the end a little before


def test_a_clipped_load_cell_is_said_to_cost_power():
    assert "Power there is short" in _flag(*CLIPPED["load cell"][:2])


def test_a_brake_held_at_one_torque_is_no_clipped_load_cell():
    held = np.minimum(HOLDING, 300.0)
    try:
        assert _flag("brake_torque_nm", held) is None
    except SweepError as refused:
        pytest.fail(str(refused))


def test_several_clipped_sensors_make_one_flag():
    both = {name: values for name, values, _ in (CLIPPED["gauge at 1 bar"], CLIPPED["λ as rich as the probe tells"])}
    texts = [flag.text for flag in read(MADE, PLAIN | both).flags if flag.code == "clipped_sensor"]
    assert len(texts) == 1
    assert "Manifold pressure, gauge" in texts[0]
    assert "λ measured" in texts[0]
