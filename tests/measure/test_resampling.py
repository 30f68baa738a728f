"""Channels of another clock are laid between their own samples, and never where there are none."""

import numpy as np

from pullbook.measure.resampling import laid_on, on_the_stamps_of


def test_it_joins_samples_by_lines_and_goes_no_further() -> None:
    made = laid_on(np.array([-0.1, 0.0, 0.25, 0.5, 1.1]), np.array([0.0, 0.5, 1.0]), np.array([1.0, 2.0, 4.0]))
    assert made.tolist()[1:4] == [1.0, 1.5, 2.0]
    assert np.isnan(made[[0, 4]]).all()


def test_it_bridges_no_gap_that_is_long_for_the_channel() -> None:
    time = np.array([0.0, 0.1, 0.2, 0.3, 2.0, 2.1])
    made = laid_on(np.array([0.3, 0.35, 1.0, 1.99, 2.0, 2.05]), time, np.ones(6))
    assert np.isnan(made).tolist() == [False, True, True, True, False, False]


def test_a_slow_channel_may_leave_more_between_its_samples() -> None:
    time = np.arange(10) * 2.0
    assert laid_on(np.array([3.0, 9.0]), time, time).tolist() == [3.0, 9.0]


def test_blanks_disorder_and_repeated_stamps_do_no_harm() -> None:
    time = np.array([0.4, 0.0, np.nan, 0.2, 0.2, 0.3])
    values = np.array([4.0, 0.0, 9.0, 7.0, 2.0, np.nan])
    assert laid_on(np.array([0.1, 0.3]), time, values).tolist() == [1.0, 3.0]
    assert np.isnan(laid_on(np.array([0.1]), time, np.full(6, np.nan))).all()


def test_a_file_whose_groups_are_sampled_apart_lies_on_the_stamps_of_its_base() -> None:
    time = np.array([0.0, 0.05, 0.1, 0.15, 0.2])
    base = np.array([1.0, np.nan, 2.0, np.nan, 3.0])
    other = np.array([np.nan, 10.0, np.nan, 20.0, np.nan])
    made = on_the_stamps_of("base", {"time_s": time, "base": base, "other": other})
    assert made["time_s"].tolist() == [0.0, 0.1, 0.2]
    assert made["base"].tolist() == [1.0, 2.0, 3.0]
    assert made["other"][1] == 15.0
    assert np.isnan(made["other"][[0, 2]]).all()


def test_without_a_blank_in_the_base_every_bit_stays() -> None:
    channels = {"time_s": np.arange(3.0), "base": np.ones(3), "other": np.array([1.0, np.nan, 3.0])}
    made = on_the_stamps_of("base", channels)
    assert all(made[name] is channels[name] for name in channels)
