"""A channel map is checked in itself and against the file, and turns columns into inside units."""

import math

import numpy as np
import pytest

from pullbook.measure.glossary import CHANNELS
from pullbook.measure.units import UNITS
from pullbook.runfile.block import pack, unpack
from pullbook.runfile.channels import (
    QUANTITIES,
    QUANTITY_TITLES,
    ChannelChoice,
    ChannelMapError,
    apply_map,
    channels_from,
    check_map,
    columns_needed,
)
from pullbook.runfile.delimited import Header

HEADERS = (Header("t"), Header("note"), Header("v", "km/h"), Header("p", "psi"), Header("n"))
VALUES = np.array([[0.0, 500.0], [np.nan, np.nan], [36.0, 72.0], [10.0, np.nan], [0.1, 2500.3]])
MAP = (
    ChannelChoice("t", "time_s", "ms"),
    ChannelChoice("v", "roller_surface_speed_m_s", "km_h"),
    ChannelChoice("p", "manifold_gauge_kpa", "psi"),
    ChannelChoice("n", "engine_speed_rpm", "rev_min"),
)


def test_it_gives_every_channel_in_its_inside_unit() -> None:
    channels = apply_map(HEADERS, VALUES, MAP)
    assert list(channels) == [choice.quantity for choice in MAP]
    assert channels["time_s"].tolist() == [0.0, 0.5]
    assert channels["roller_surface_speed_m_s"].tolist() == pytest.approx([10.0, 20.0], rel=1e-15)
    assert channels["manifold_gauge_kpa"][0] == pytest.approx(68.94757293168361, rel=1e-14)
    assert math.isnan(channels["manifold_gauge_kpa"][1])


def test_it_keeps_the_bits_of_a_column_already_in_the_inside_unit_and_copies_it() -> None:
    channels = apply_map(HEADERS, VALUES, MAP)
    assert channels["engine_speed_rpm"].tobytes() == VALUES[4].tobytes()
    assert not np.shares_memory(channels["engine_speed_rpm"], VALUES)


def test_it_gives_the_same_from_the_few_columns_of_a_block() -> None:
    few = unpack(pack(VALUES), columns_needed(HEADERS, MAP))
    whole = apply_map(HEADERS, VALUES, MAP)
    for name, channel in channels_from(few, MAP).items():
        assert channel.tobytes() == whole[name].tobytes()


@pytest.mark.parametrize(
    ("choices", "reason"),
    [
        ([*MAP, ChannelChoice("note", "warp", "s")], "'warp' is no quantity"),
        ([*MAP, ChannelChoice("note", "oil_temperature_c", "kpa")], "does not come in 'kpa'; would do: c, f, k"),
        ([*MAP, ChannelChoice("n", "oil_temperature_c", "c")], "'n' is named twice"),
        ([*MAP, ChannelChoice("note", "engine_speed_rpm", "rev_min")], "Two columns are named as engine speed"),
        (MAP[1:], "No column is named as the time"),
        ((MAP[0], *MAP[2:]), "No column is named as roller speed"),
        ([], "No column is named as the time"),
    ],
)
def test_it_says_what_is_wrong_with_a_map(choices: list[ChannelChoice], reason: str) -> None:
    for call in (lambda: check_map(choices), lambda: apply_map(HEADERS, VALUES, choices)):
        with pytest.raises(ChannelMapError) as caught:
            call()
        assert reason in caught.value.reason


def test_it_names_the_columns_that_a_file_lacks() -> None:
    check_map(MAP)
    with pytest.raises(ChannelMapError, match="'v', 'n', which this file does not have"):
        apply_map((HEADERS[0], HEADERS[3]), VALUES[[0, 3]], MAP)


def test_it_offers_every_channel_with_units_of_its_own_dimension() -> None:
    assert set(QUANTITIES) == set(QUANTITY_TITLES) == set(CHANNELS)
    for name, units in QUANTITIES.items():
        assert CHANNELS[name].inside_unit in units
        assert {UNITS[unit].dimension for unit in units} == {CHANNELS[name].dimension}
