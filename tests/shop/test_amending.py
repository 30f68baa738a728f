"""What changed since results were published: only what can be seen, and only reasons that are known."""

from copy import deepcopy
from typing import Any

import pytest

from pullbook.shop.amending import changes_between, published_of
from pullbook.shop.comparing import Comparison, compare
from pullbook.shop.reading import ReadSettings
from tests.api.pull_files import Steady, filed


@pytest.fixture
def comparison(app: Any, tuner: Any, house: Any) -> Comparison:
    pull_id = filed(tuner, house, Steady().csv())["id"]
    with app.state.database.reading() as session:
        return compare(session, [pull_id], ReadSettings())


def _changed(comparison: Comparison, **of_the_pull: Any) -> Any:
    now = published_of(comparison)
    was = deepcopy(now)
    (pull,) = was["pulls"].values()
    pull.update(of_the_pull)
    return changes_between(was, now, comparison)


def _peak(comparison: Comparison, more_w: float) -> list[float]:
    (pull,) = published_of(comparison)["pulls"].values()
    return [pull["peak_power_w"][0] + more_w, pull["peak_power_w"][1]]


def test_what_is_as_published_is_no_change(comparison: Comparison) -> None:
    assert _changed(comparison) == ()


def test_a_figure_that_moved_although_nothing_on_record_did_is_blamed_on_no_record(comparison: Comparison) -> None:
    (change,) = _changed(comparison, peak_power_w=_peak(comparison, 700.0))
    assert change.key == "peak_power_w"
    assert change.was != change.now
    assert "nothing on record changed" in change.why
    assert "car" not in change.why


def test_a_figure_that_moved_with_the_records_of_the_car_says_so(comparison: Comparison) -> None:
    (change,) = _changed(comparison, inputs="0" * 64, peak_power_w=_peak(comparison, 700.0))
    assert "car" in change.why


def test_a_difference_below_the_last_shown_digit_is_no_change(comparison: Comparison) -> None:
    shown_w = round(_peak(comparison, 0.0)[0], -2)  # kilowatts with one decimal
    beside = shown_w + (20.0 if _peak(comparison, 0.0)[0] < shown_w else -20.0)
    moved = _changed(comparison, peak_power_w=[beside, _peak(comparison, 0.0)[1]])
    assert moved == ()


def test_an_amended_record_is_told_even_where_no_shown_figure_moved(comparison: Comparison) -> None:
    (change,) = _changed(comparison, inputs="0" * 64, weather_id="another", peak_power_w=_peak(comparison, 0.001))
    assert change.now == "amended, figures unchanged"
    assert "weather reading" in change.why
    assert "car" not in change.why
