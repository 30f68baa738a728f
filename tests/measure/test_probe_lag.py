"""The lag of measured behind commanded λ is found to 20 ms, doubted as it should be, and refused where none shows.

Truth is made in closed form. Lag is the effective delay: pure delay plus the probe's time constant.
"""

import numpy as np
import pytest

from pullbook.measure.alignment import probe_lag
from pullbook.measure.held import when_bent, when_new
from pullbook.measure.probelag import USUAL_LAG_S
from tests.studies.lags import CLOCK_WAYS, WITHIN_CLOCK_MS, WITHIN_LAG_MS, clock_row, lag_row
from tests.studies.made_lambda import WAYS, Case, channels_of

BENDS = "enrich and protect"


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("shape", [BENDS, "waves"])
def test_a_lag_from_a_tenth_to_a_whole_second_is_found_within_20_ms(shape, way):
    row = lag_row(shape, way, seeds=5)
    assert row.not_told == 0
    assert np.abs(row.errors_ms).max() <= WITHIN_LAG_MS
    assert row.stated_ms.max() <= WITHIN_LAG_MS


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("shape", ["opening throttle", "protection alone"])
def test_one_movement_of_the_command_is_enough_polled_too(shape, way):
    row = lag_row(shape, way, seeds=40)
    assert row.not_told == 0
    assert np.abs(row.errors_ms).max() <= WITHIN_LAG_MS


@pytest.mark.parametrize("way", WAYS[1:])
@pytest.mark.parametrize("shape", ["sudden step", "opening throttle"])
def test_a_jump_between_two_polls_is_doubted_by_how_far_they_are_apart(shape, way):
    row = lag_row(shape, way, seeds=20)
    assert np.mean(np.abs(row.errors_ms) <= 2.0 * row.stated_ms) >= 0.95
    assert row.stated_ms.max() <= 35.0


@pytest.mark.parametrize("shape", [BENDS, "opening throttle", "waves"])
def test_a_mixture_that_strays_by_itself_is_in_the_stated_uncertainty(shape):
    row = lag_row(shape, "200 Hz", seeds=40, strays=0.003)
    assert np.mean(np.abs(row.errors_ms) <= 2.0 * row.stated_ms) >= 0.94


def test_a_sudden_step_that_was_written_down_at_once_is_told_exactly():
    row = lag_row("sudden step", "200 Hz", seeds=10)
    assert np.abs(row.errors_ms).max() <= 10.0
    assert row.stated_ms.max() <= 5.0


@pytest.mark.parametrize("shape", [BENDS, "opening throttle", "protection alone"])
def test_the_stated_uncertainty_holds_the_truth(shape):
    row = lag_row(shape, "200 Hz", seeds=10)
    assert np.mean(np.abs(row.errors_ms) <= 2.0 * row.stated_ms) >= 0.95


@pytest.mark.parametrize("way", CLOCK_WAYS)
def test_clocks_are_aligned_within_30_ms(way):
    row = clock_row(8.0, way, seeds=6)
    assert row.not_told == 0
    assert np.abs(row.errors_ms).max() <= WITHIN_CLOCK_MS


@pytest.mark.parametrize("tau_s", [0.0, 0.05, 0.2, 0.3])
def test_the_lag_is_delay_and_time_constant_together_whatever_the_probe(tau_s):
    found = probe_lag(*channels_of(Case(BENDS, "200 Hz", 0.6, 1, 0.002, tau_s)))
    assert found.lag_s == pytest.approx(0.6, abs=0.02)
    assert found.delay_s + found.time_constant_s == pytest.approx(found.lag_s)


def test_a_mixture_that_is_wrong_by_a_share_and_an_offset_shows_its_lag_all_the_same():
    channels, sweep_s = channels_of(Case(BENDS, "200 Hz", 0.5, 2, 0.002))
    wrong = channels | {"lambda_measured": 1.06 * channels["lambda_measured"] + 0.02}
    assert probe_lag(wrong, sweep_s).lag_s == pytest.approx(0.5, abs=0.02)


def test_gentle_slopes_are_told_with_a_large_doubt_or_not_at_all():
    row = lag_row("gentle slopes", "200 Hz", seeds=40)
    assert row.stated_ms.min() > 40.0
    assert np.mean(np.abs(row.errors_ms) <= 2.0 * row.stated_ms) >= 0.9


def _still(**changed):
    channels, sweep_s = channels_of(Case(BENDS, "200 Hz", 0.5, 1))
    return probe_lag({name: values for name, values in (channels | changed).items() if values is not None}, sweep_s)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"lambda_commanded": None}, "no commanded λ"),
        ({"lambda_commanded": np.full(2900, 0.88)}, "moves by λ 0.000"),
        ({"lambda_commanded": np.full(2900, np.nan)}, "Commanded λ is blank"),
        ({"lambda_measured": np.full(2900, np.nan)}, "Measured λ is blank"),
        ({"lambda_measured": 0.9 + 0.02 * np.sin(np.arange(2900) / 31.0)}, "follows it too loosely"),
    ],
)
def test_where_nothing_tells_the_lag_the_usual_figure_stands_in_with_the_reason(changed, words):
    found = _still(**changed)
    assert not found.found
    assert found.lag_s == USUAL_LAG_S
    assert found.u_s == 0.25
    assert words in found.reason


def test_a_command_of_another_pull_is_not_followed():
    channels, sweep_s = channels_of(Case("waves", "200 Hz", 0.5, 1))
    other, _ = channels_of(Case("waves", "200 Hz", 0.5, 9))
    mixed = channels | {"lambda_commanded": other["lambda_commanded"][::-1].copy()}
    assert not probe_lag(mixed, sweep_s).found


def test_a_held_channel_is_taken_at_the_moments_it_was_new():
    time = np.arange(0.0, 12.0, 0.005)
    asked_at = np.arange(0.0312, 12.0, 0.1)
    truth = np.interp(asked_at, [2.0, 4.0, 7.0, 12.0], [0.97, 0.88, 0.86, 0.855])
    held = truth[np.maximum(np.searchsorted(asked_at, time, side="right") - 1, 0)]
    when, what = when_new(time, held)
    assert len(when) == pytest.approx(101, abs=4)  # from the first change to the last
    late = np.interp(when[1:-1], asked_at, truth) - what[1:-1]
    assert np.abs(late).max() < 5e-4


@pytest.mark.parametrize("decimals", [2, 3])
def test_a_rounded_channel_is_not_taken_for_a_held_one(decimals):
    time = np.arange(0.0, 12.0, 0.005)
    rounded = np.round(np.interp(time, [2.0, 4.0, 7.0, 12.0], [0.97, 0.88, 0.86, 0.855]), decimals)
    when, what = when_new(time, rounded)
    assert len(when) == len(time)
    assert what is rounded


@pytest.mark.parametrize("jitter_s", [0.0, 0.03])
def test_lines_drawn_between_polls_are_taken_at_the_polls_evenly_spaced_or_not(jitter_s):
    chance = np.random.default_rng(4)
    asked_at = np.arange(0.0312, 12.0, 0.1) + chance.uniform(0.0, jitter_s, 120)
    told = 0.9 + 0.03 * np.sin(1.3 * asked_at)
    time = np.arange(asked_at[0], asked_at[-1], 0.005)
    when, what = when_bent(time, np.interp(time, asked_at, told))
    assert np.median(np.diff(when)) == pytest.approx(0.1, abs=0.006)
    assert len(when) < len(time) / 5
    assert np.abs(np.interp(asked_at[1:-2], when, what) - told[1:-2]).max() < 5e-4


def test_a_command_of_a_few_straight_lines_or_of_noise_was_not_polled():
    time = np.arange(0.0, 12.0, 0.005)
    for values in (
        np.interp(time, [2.0, 2.1, 7.0, 12.0], [0.97, 0.88, 0.86, 0.855]),
        0.9 + np.random.default_rng(1).normal(0.0, 0.01, len(time)),
        np.round(np.interp(time, [2.0, 4.0, 7.0, 12.0], [0.97, 0.88, 0.86, 0.855]), 3),
        np.full(len(time), 0.9),
    ):
        assert when_bent(time, values)[1] is values
