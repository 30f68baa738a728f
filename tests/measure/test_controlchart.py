"""Individuals and moving ranges against a published example, and the rules one by one and by their run lengths."""

import numpy as np
import pytest
from scipy import stats

from pullbook.measure.controlchart import apart, control_chart, signals, trend_of
from tests.published.published_rows import case, published
from tests.studies.coastdowns import PUBLISHED_RUN_LENGTHS, run_length


@pytest.mark.parametrize("row", published("individuals_chart"), ids=case)
def test_limits_are_the_published_ones(row):
    values = [float(word) for word in row.inputs["values"].split()]
    row.assert_near(getattr(control_chart(values, len(values)), row.inputs["quantity"]))


@pytest.mark.parametrize(
    ("away", "rule", "place"),
    [
        ((0.0, 0.1, 3.2, 0.0), 1, 2),
        ((0.0, 2.2, 0.1, 2.3), 2, 3),
        ((1.2, 1.3, -0.2, 1.4, 1.1), 3, 4),
        ((0.1,) * 8, 4, 7),
    ],
)
def test_each_rule_speaks_at_the_point_that_completes_it_on_either_side(away, rule, place):
    for side in (1.0, -1.0):
        found = [one for one in signals(side * np.array(away)) if one.rule == rule]
        assert [one.place for one in found] == [place]
        assert found[0].high == (side > 0.0)


@pytest.mark.parametrize(
    "away", [(2.2, -2.2, 0.0), (1.2, 1.3, -1.4, 1.1, 0.5), (0.1,) * 7 + (-0.1,), (2.9, 0.0, 0.0, 2.9), (0.0,) * 9]
)
def test_what_completes_no_rule_is_left_in_peace(away):
    assert signals(np.array(away)) == ()


@pytest.mark.parametrize(("shift", "rules"), [key for key in PUBLISHED_RUN_LENGTHS if key[0] == 1.0])
def test_a_shift_of_one_sigma_is_found_as_soon_as_published(shift, rules):
    published_length = PUBLISHED_RUN_LENGTHS[shift, rules]
    found = run_length(shift, rules, charts=1500)
    assert found == pytest.approx(published_length, rel=0.12)  # a mean of 1500 run lengths scatters by 2.6 %


def test_later_points_do_not_move_the_limits():
    values = [50.0, 50.4, 49.8, 50.1, 49.9, 44.0, 43.0]
    chart = control_chart(values, 5)
    assert chart.centre == pytest.approx(50.04)
    assert {one.place for one in chart.signals if one.rule == 1} == {5, 6}
    assert chart.range_signals == (5,)


@pytest.mark.parametrize(("values", "set_by"), [([1.0, 2.0, 3.0], 4), ([1.0, 2.0, 3.0, 4.0], 3), ([2.0] * 6, 5)])
def test_too_little_to_set_limits_is_refused(values, set_by):
    with pytest.raises(ValueError, match=r"needed|scatter"):
        control_chart(values, set_by)


def test_a_trend_and_a_difference_are_scipys():
    chance = np.random.default_rng(2)
    times, values = np.arange(12.0), 50.0 - 0.3 * np.arange(12.0) + chance.normal(0, 0.4, 12)
    fitted = stats.linregress(times, values)
    found = trend_of(times, values)
    assert found.slope == pytest.approx(fitted.slope)
    assert found.half == pytest.approx(fitted.stderr * stats.t.ppf(0.975, 10), rel=1e-5)
    first, second = chance.normal(50, 1, 7), chance.normal(52, 2, 5)
    interval = stats.ttest_ind(second, first, equal_var=False).confidence_interval(0.95)
    told = apart(first, second)
    assert told.difference - told.half == pytest.approx(interval.low, rel=1e-5)
    assert told.difference + told.half == pytest.approx(interval.high, rel=1e-5)


def test_too_few_points_have_neither():
    assert trend_of([0.0, 1.0, 2.0], [1.0, 2.0, 3.0]) is None
    assert apart([1.0], [2.0, 3.0]) is None
