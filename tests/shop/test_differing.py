"""What a setup changed stands beside what single pulls of one setup differ by anyway."""

import numpy as np
import pytest

from pullbook.shop.differing import difference_of

GRID = np.arange(2000.0, 6050.0, 50.0)


def _pulls(*levels: float) -> list[np.ndarray]:
    return [level + 0.01 * GRID for level in levels]


def test_difference_and_scatter_are_those_of_the_mean_power_of_single_pulls() -> None:
    found = difference_of("a", _pulls(100.0, 102.0, 104.0), "b", _pulls(110.0, 111.0), GRID)
    assert found is not None
    assert found.difference_w == pytest.approx(8.5)
    assert found.first.scatter_w == pytest.approx(2.0)
    assert found.later.scatter_w == pytest.approx(0.5**0.5)
    assert found.scatter_w == found.first.scatter_w
    assert (found.first.counted, found.later.counted) == (3, 2)
    low, high = found.band_rpm
    assert found.first.mean_w == pytest.approx(102.0 + 0.005 * (low + high))


def test_the_band_is_the_middle_of_what_every_pull_has() -> None:
    short = _pulls(100.0)[0].copy()
    short[GRID > 5000.0] = np.nan
    found = difference_of("a", [short], "b", _pulls(100.0), GRID)
    assert found is not None
    assert found.band_rpm == (2300.0, 4700.0)


@pytest.mark.parametrize(("gain", "within"), [(3.9, True), (-3.9, True), (4.1, False), (-4.1, False)])
def test_up_to_twice_the_scatter_nothing_is_claimed(gain: float, within: bool) -> None:
    first = _pulls(98.0, 100.0, 102.0)
    found = difference_of("a", first, "b", [pull + gain for pull in first], GRID)
    assert found is not None
    assert found.within_scatter is within


def test_a_single_pull_has_no_scatter_to_be_within() -> None:
    found = difference_of("a", _pulls(100.0), "b", _pulls(100.0, 101.0), GRID)
    assert found is not None
    assert found.scatter_w is None
    assert not found.within_scatter


def test_curves_that_share_no_engine_speed_have_no_difference() -> None:
    low, high = _pulls(100.0)[0].copy(), _pulls(100.0)[0].copy()
    low[GRID > 3000.0], high[GRID < 3000.0] = np.nan, np.nan
    assert difference_of("a", [low], "b", [high], GRID) is None
    assert difference_of("a", [], "b", [high], GRID) is None
