"""The fuel map against maps worked out by hand, and against a forward model whose λ error is known cell by cell."""

import math
from dataclasses import replace

import numpy as np
import pytest

from pullbook.measure.fuelmap import Cells, FuelMapError, MapRun, fuel_map

CELLS = Cells((1000.0, 2000.0, 3000.0), (40.0, 60.0, 100.0))


def run(rpm, load, measured, wanted=0.9, step_s=0.1, lag_s=0.0, each=20):
    """Rows that stay `each` steps at every value given; one number stands for as many as the longest list."""
    many = max(len(np.atleast_1d(one)) for one in (rpm, load, measured))
    speed, loads, seen = (np.repeat(np.broadcast_to(np.atleast_1d(one).astype(float), many), each)
                          for one in (rpm, load, measured))  # fmt: skip
    time = np.arange(len(speed)) * step_s
    asked = None if wanted is None else np.full(len(speed), wanted)
    return MapRun(time, speed, loads, seen, asked, lag_s)


def test_each_cell_has_its_time_its_mean_error_and_its_multiplier():
    made = fuel_map([run([1500.0, 2500.0], 50.0, [0.945, 0.855])], CELLS, 1.0)
    # twenty rows of 0.1 s each, the first and the last row standing for half a step
    assert made.time_s == pytest.approx(np.array([[1.95, 1.95], [0.0, 0.0]]))
    assert made.multiplier[0] == pytest.approx([1.05, 0.95])
    assert made.lambda_error[0] == pytest.approx([0.045, -0.045])
    assert made.lambda_measured[0] == pytest.approx([0.945, 0.855])
    assert made.lambda_wanted[0] == pytest.approx([0.9, 0.9])
    assert np.isnan(made.multiplier[1]).all()
    assert made.total_s == pytest.approx(3.9)


def test_an_edge_belongs_to_the_cell_above_it_and_the_last_edge_to_the_last_cell():
    on_edges = [run(2000.0, 50.0, 0.9), run(1500.0, 60.0, 0.9), run(3000.0, 100.0, 0.9), run(1000.0, 40.0, 0.9)]
    made = [fuel_map([one], CELLS, 0.0).time_s > 0.0 for one in on_edges]
    assert [np.argwhere(one).tolist() for one in made] == [[[0, 1]], [[1, 0]], [[1, 1]], [[0, 0]]]


def test_what_lies_outside_or_is_not_known_is_counted_by_its_reason():
    runs = [
        run(900.0, 50.0, 0.9), run(3000.5, 50.0, 0.9), run(1500.0, 39.0, 0.9), run(1500.0, 101.0, 0.9),
        run(1500.0, 50.0, 1.9), run(0.0, 50.0, 0.9), run(1500.0, math.nan, 0.9), run(1500.0, 50.0, math.nan),
    ]  # fmt: skip
    out = fuel_map(runs, CELLS, 0.0).left_out
    counted = (out.below_speed_s, out.above_speed_s, out.below_load_s, out.above_load_s, out.not_fired_s)
    assert counted == pytest.approx((1.9,) * 5)
    assert out.not_known_s == pytest.approx(3 * 1.9)


def test_below_the_minimum_time_a_cell_says_only_its_time():
    made = fuel_map([run(1500.0, 50.0, 0.9)], CELLS, 2.0)
    assert made.time_s[0, 0] == pytest.approx(1.9)
    assert np.isnan(made.multiplier[0, 0])
    assert np.isnan(made.lambda_error[0, 0])
    assert fuel_map([run(1500.0, 50.0, 0.9)] * 2, CELLS, 2.0).multiplier[0, 0] == pytest.approx(1.0)


def test_the_lag_brings_a_mixture_back_to_the_cell_that_burnt_it():
    # the mixture changes with the speed, and the probe tells it 0.7 s later
    fresh = run([1500.0, 2500.0], 50.0, [1.0, 0.8], each=40)
    late = MapRun(fresh.time_s, fresh.engine_speed_rpm, fresh.load, np.roll(fresh.lambda_measured, 7), None, 0.7)
    made = fuel_map([late], CELLS, 0.0, 0.9)
    assert made.lambda_measured[0] == pytest.approx([1.0, 0.8])
    assert made.left_out.not_known_s == pytest.approx(0.65)  # past the end nothing is known of the last 0.7 s
    as_it_came = MapRun(late.time_s, late.engine_speed_rpm, late.load, late.lambda_measured, None, 0.0)
    assert fuel_map([as_it_came], CELLS, 0.0, 0.9).lambda_measured[0, 1] > 0.82


def test_a_target_stands_in_where_there_is_no_command_and_only_there():
    bare, told = run(1500.0, 80.0, 0.9, None), run(1500.0, 50.0, 0.9, 1.0)
    made = fuel_map([bare, told], CELLS, 0.0, [0.95, 0.80])
    assert made.lambda_wanted[:, 0] == pytest.approx([1.0, 0.80])
    assert fuel_map([bare], CELLS, 0.0, 0.75).multiplier[1, 0] == pytest.approx(1.2)


@pytest.mark.parametrize(("target", "said"), [(None, "without commanded"), ([0.9] * 3, "3 figures"), (9.0, "outside")])
def test_a_target_that_will_not_do_is_refused_with_what_would(target, said):
    with pytest.raises(FuelMapError, match=said) as refused:
        fuel_map([run(1500.0, 80.0, 0.9, None)], CELLS, 0.0, target)
    assert refused.value.field == "wanted"
    assert "would do" in str(refused.value)


@pytest.mark.parametrize("edges", [(1000.0,), (1000.0, 1000.0), (2000.0, 1000.0), (1000.0, math.nan), tuple(range(99))])
def test_edges_that_do_not_rise_or_are_too_many_are_refused(edges):
    with pytest.raises(FuelMapError, match="would do") as refused:
        Cells(edges, (0.0, 1.0))
    assert refused.value.field == "speed_edges"


def test_a_mean_is_over_time_not_over_rows():
    fast, slow = run(1500.0, 50.0, 1.0, each=1000, step_s=0.01), run(1500.0, 50.0, 0.8, each=100, step_s=0.1)
    assert fuel_map([fast, slow], CELLS, 0.0).lambda_measured[0, 0] == pytest.approx(0.9, abs=1e-3)


def test_a_gap_in_the_stamps_stands_for_no_time():
    one = run(1500.0, 50.0, 0.9, each=40)
    holed = replace(one, time_s=one.time_s + np.where(np.arange(40) < 20, 0.0, 30.0))
    assert fuel_map([holed], CELLS, 0.0).time_s[0, 0] == pytest.approx(3.9)


def test_the_standard_error_is_what_repeated_cells_scatter_by():
    chance = np.random.default_rng(8)

    def measured_again():
        noise = np.repeat(chance.normal(0.0, 0.02, 60), 10)  # a probe that says each value for a second
        return MapRun(np.arange(600) * 0.1, np.full(600, 1500.0), np.full(600, 50.0), 0.9 * (1.0 + noise),
                      np.full(600, 0.9), 0.0)  # fmt: skip

    maps = [fuel_map([measured_again()], CELLS, 0.0) for _ in range(300)]
    scatter = float(np.std([one.multiplier[0, 0] for one in maps]))
    told = float(np.mean([one.multiplier_u[0, 0] for one in maps]))
    assert scatter == pytest.approx(0.02 / 60**0.5, rel=0.15)
    assert told == pytest.approx(scatter, rel=0.15)


def test_a_cell_seen_for_less_than_two_seconds_has_no_standard_error():
    assert np.isnan(fuel_map([run(1500.0, 50.0, 0.9, each=9)], CELLS, 0.0).multiplier_u[0, 0])


def test_no_recordings_make_an_empty_map():
    made = fuel_map([], CELLS, 1.0)
    assert made.total_s == 0.0
    assert np.isnan(made.multiplier).all()


def test_the_lag_finds_no_mixture_within_a_gap():
    before, after = np.arange(0.0, 5.0, 0.1), np.arange(15.0, 20.0, 0.1)
    time = np.concatenate([before, after])
    level = np.where(time < 10.0, 0.80, 1.00)
    flat = np.ones(len(time))
    made = fuel_map([MapRun(time, 1500.0 * flat, 50.0 * flat, level, 0.9 * flat, 0.5)], CELLS, 0.0)
    assert made.lambda_measured[0, 0] == pytest.approx(
        0.9, abs=0.002
    )  # as long at one as at the other, nothing between them
    assert made.left_out.not_known_s == pytest.approx(1.0, abs=0.11)  # before the gap, and at the end


def test_a_recording_without_a_row_adds_nothing():
    nothing = np.zeros(0)
    empty = MapRun(nothing, nothing, nothing, nothing, nothing, 0.3)
    made = fuel_map([run(1500.0, 50.0, 0.9), empty], CELLS, 0.0)
    assert made.total_s == pytest.approx(1.9)
