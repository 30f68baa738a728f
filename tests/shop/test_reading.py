"""Reading pulls beneath the API: order, fewer channels, the digest."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from pullbook.errors import NotFound
from pullbook.shop.comparing import common_grid, mean_of
from pullbook.shop.loading import load_pulls
from pullbook.shop.reading import CALCULATED_FROM, ReadSettings, inputs_digest, read_loaded, read_pulls
from tests.api.pull_files import Steady, filed


@pytest.fixture
def pulls(tuner: Any, house: Any) -> list[str]:
    return [filed(tuner, house, Steady(seconds=seconds).csv())["id"] for seconds in (8.0, 7.0, 6.0)]


def test_pulls_come_in_the_order_asked_for_and_once(app: Any, pulls: list[str]) -> None:
    asked = [pulls[2], pulls[0], pulls[1], pulls[0]]
    with app.state.database.reading() as session:
        assert [pull.facts.id for pull in read_pulls(session, asked, ReadSettings())] == asked[:3]


def test_unknown_ids_are_named(app: Any, pulls: list[str]) -> None:
    with app.state.database.reading() as session, pytest.raises(NotFound, match="0123456789abc"):
        read_pulls(session, [pulls[0], "0123456789abc"], ReadSettings())


def test_fewer_channels_change_no_power(app: Any, pulls: list[str]) -> None:
    with app.state.database.reading() as session:
        (loaded,) = load_pulls(session, pulls[:1])
    every, few = read_loaded(loaded, ReadSettings()), read_loaded(loaded, ReadSettings(channels=frozenset()))
    np.testing.assert_array_equal(every.curve.power_w, few.curve.power_w)
    assert "lambda_measured" in every.curve.channels
    assert set(few.curve.channels) <= CALCULATED_FROM


def test_the_digest_changes_with_each_input_and_with_nothing_else(app: Any, pulls: list[str]) -> None:
    with app.state.database.reading() as session:
        (loaded,) = load_pulls(session, pulls[:1])
    settings = ReadSettings()
    was = inputs_digest(loaded, settings)
    vehicle = replace(loaded.ticket.vehicle, ignition="compression")
    for changed in (
        replace(loaded, calibration=replace(loaded.calibration, brake_zero_nm=0.1)),
        replace(loaded, calibration=None),
        replace(loaded, weather=replace(loaded.weather, humidity_value=47.0)),
        replace(loaded, ticket=replace(loaded.ticket, vehicle=vehicle)),
        replace(loaded, setup=replace(loaded.setup, engine_turns_per_roller_turn=4.0)),
        replace(loaded, channel_map=replace(loaded.channel_map, columns=loaded.channel_map.columns[:-1])),
        replace(loaded, facts=replace(loaded.facts, sha256="0" * 64)),
    ):
        assert inputs_digest(changed, settings) != was
    for other in (ReadSettings(standard="observed"), ReadSettings(window_s=0.2), ReadSettings(step_rpm=25.0)):
        assert inputs_digest(loaded, other) != was
    told = replace(loaded, setup=replace(loaded.setup, name="x"), facts=replace(loaded.facts, notes="y"))
    assert inputs_digest(told, ReadSettings(weather_stale_minutes=5)) == was


@pytest.mark.parametrize("shift_rpm", [0.0, 12.5])
def test_a_curve_on_a_wider_grid_is_itself_within_its_reach_and_nothing_beyond(
    app: Any, pulls: list[str], shift_rpm: float
) -> None:
    with app.state.database.reading() as session:
        (pull,) = read_pulls(session, pulls[:1], ReadSettings())
    own = pull.curve.engine_speed_rpm
    grid = np.arange(own[0] - 150.0, own[-1] + 151.0, 50.0) + shift_rpm
    laid, within = pull.on_grid(grid), (grid >= own[0]) & (grid <= own[-1])
    assert 0 < within.sum() < len(grid)
    assert list(laid.channels) == list(pull.curve.channels)
    for name in ("power_w", "observed_power_w", "torque_nm", "spread_w", *laid.channels):
        values = laid.channels[name] if name in laid.channels else getattr(laid, name)
        np.testing.assert_array_equal(values, pull.curve.on_grid(grid, name))
        assert np.isnan(values[~within]).all()


def test_a_grid_reaches_from_the_lowest_to_the_highest_curve(app: Any, pulls: list[str]) -> None:
    with app.state.database.reading() as session:
        read = read_pulls(session, pulls, ReadSettings())
    grid = common_grid(read, 50.0)
    ends = [(pull.curve.engine_speed_rpm[0], pull.curve.engine_speed_rpm[-1]) for pull in read]
    assert (grid[0], grid[-1]) == (min(low for low, _ in ends), max(high for _, high in ends))
    assert (np.diff(grid) == 50.0).all()
    assert len(common_grid([], 50.0)) == 0
    assert mean_of([]) is None
