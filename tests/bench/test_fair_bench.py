"""The bench compares like with like: all three ways give the same curve, and the files are what they are said to be."""

import io

import numpy as np
import pandas as pd

from pullbook.measure.correction import Engine
from pullbook.measure.curve import SweepSettings, read_sweep
from pullbook.runfile.delimited import read_delimited
from tests.bench import notebook_way
from tests.bench.floor_curve import floor_curve
from tests.bench.reading_bench import mapped_channels, roller_calibration
from tests.bench.rows import Row, medians_s
from tests.bench.typical_pull import run_lasting, typical_file


def _truth(grid):
    return run_lasting(15.0).at_engine_speed(grid).roller_power_w


def _middle(run):
    low, high = run.at(np.array(run.sweep_s)).engine_speed_rpm
    return low + 0.1 * (high - low), high - 0.1 * (high - low)


def test_a_typical_file_is_fifteen_seconds_of_twelve_channels():
    run = read_delimited(typical_file())
    assert run.values.shape == (12, 3000)
    assert run.values[0][-1] == 14.995
    assert 170_000 < len(typical_file()) < 230_000
    assert typical_file(1) != typical_file(2)


def test_the_service_the_floor_and_the_notebook_find_the_same_power():
    run = run_lasting(15.0)
    low, high = _middle(run)
    inertia = run.roller.inertia_kg_m2
    channels = mapped_channels()
    curve = read_sweep(channels, roller_calibration(), None, Engine(), SweepSettings(standard="observed"))
    floor_rpm, floor_w, _ = floor_curve(channels, inertia)
    table = notebook_way.curve(pd.read_csv(io.BytesIO(typical_file())), inertia)
    found = {
        "service": (curve.engine_speed_rpm, curve.observed_power_w, 0.7),
        "floor": (floor_rpm, floor_w, 2.0),
        "notebook": (table[("Engine Speed (rpm)", "mean")].to_numpy(), table[("power", "mean")].to_numpy(), 4.0),
    }
    for name, (rpm, power_w, worst_pct) in found.items():
        inside = (rpm > low) & (rpm < high)
        assert inside.sum() > 50, name
        off = 100.0 * np.abs(power_w[inside] / _truth(rpm[inside]) - 1.0)
        assert off.max() < worst_pct, f"{name}: {off.max():.2f} %"


def test_a_row_is_passed_or_missed_on_its_own_side():
    assert Row("at most", 1.9, 2.0).passes
    assert not Row("at most", 2.1, 2.0).passes
    assert Row("at least", 10.5, 10.0, least=True).passes
    assert "MISS" in str(Row("at least", 9.5, 10.0, least=True))


def test_works_are_timed_in_turn_and_each_as_often():
    done = []
    medians_s([lambda: done.append("a"), lambda: done.append("b")], repeats=3, warm_ups=1)
    assert done == ["a", "b"] * 4
