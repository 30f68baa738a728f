"""Which column is what, and in which unit: a channel map, checked and applied."""

from collections.abc import Mapping, Sequence
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from pullbook.late_methods import dataclass
from pullbook.measure.glossary import CHANNELS
from pullbook.measure.units import UNITS, to_inside
from pullbook.runfile.delimited import Header

# quantity (a key of measure's CHANNELS) → identifiers of the units it may come in
QUANTITIES: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        name: tuple(unit.identifier for unit in UNITS.values() if unit.dimension == channel.dimension)
        for name, channel in CHANNELS.items()
    }
)
# quantity → what it is called on a screen
QUANTITY_TITLES: Mapping[str, str] = MappingProxyType({name: channel.title for name, channel in CHANNELS.items()})
# any one of these says how fast the roller turns
ROLLER_QUANTITIES = ("roller_speed_rad_s", "roller_surface_speed_m_s", "roller_pulses", "roller_pulse_increments")


class ChannelMapError(ValueError):
    """A channel map that does not fit the file, or is wrong in itself. `reason` is a plain sentence."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


@dataclass(frozen=True)
class ChannelChoice:
    """One line of a channel map: the column headed `header` is `quantity`, written in `unit`."""

    header: str
    quantity: str
    unit: str


def check_map(choices: Sequence[ChannelChoice], needs_roller: bool = True) -> None:
    """Raise `ChannelMapError` if a map is wrong in itself: unknown quantity, a unit it does not take, a column or
    quantity named twice, no time, no roller speed (which a file that is read beside a pull does without)."""
    headers: set[str] = set()
    quantities: set[str] = set()
    for choice in choices:
        if choice.quantity not in QUANTITIES:
            raise ChannelMapError(f"'{choice.quantity}' is no quantity; known are {', '.join(QUANTITIES)}.")
        if choice.unit not in QUANTITIES[choice.quantity]:
            would_do = ", ".join(QUANTITIES[choice.quantity])
            raise ChannelMapError(f"{choice.quantity} does not come in '{choice.unit}'; would do: {would_do}.")
        if choice.header in headers:
            raise ChannelMapError(f"The column '{choice.header}' is named twice.")
        if choice.quantity in quantities:
            raise ChannelMapError(f"Two columns are named as {QUANTITY_TITLES[choice.quantity]}; one is needed.")
        headers.add(choice.header)
        quantities.add(choice.quantity)
    if "time_s" not in quantities:
        raise ChannelMapError("No column is named as the time.")
    if needs_roller and not quantities.intersection(ROLLER_QUANTITIES):
        raise ChannelMapError("No column is named as roller speed, roller surface speed or roller pulses.")


def columns_needed(headers: Sequence[Header], choices: Sequence[ChannelChoice]) -> list[int]:
    """The positions of the columns a map uses, in the order of `choices`: what to ask `block.unpack` for.

    Raises `ChannelMapError` when the file has no column of a heading that the map names.
    """
    places = {header.text: place for place, header in enumerate(headers)}
    missing = [choice.header for choice in choices if choice.header not in places]
    if missing:
        named = ", ".join(f"'{header}'" for header in missing)
        raise ChannelMapError(f"The channel map names {named}, which this file does not have.")
    return [places[choice.header] for choice in choices]


def apply_map(
    headers: Sequence[Header],
    values: NDArray[np.float64],
    choices: Sequence[ChannelChoice],
    needs_roller: bool = True,
) -> dict[str, NDArray[np.float64]]:
    """The channels of a run in inside units, keyed by quantity, each a new array of shape (rows,).

    `values` is (columns, rows) in the order of `headers`. Raises `ChannelMapError` as `check_map` and `columns_needed`
    do.
    """
    check_map(choices, needs_roller)
    places = columns_needed(headers, choices)
    return channels_from([values[place] for place in places], choices)


def channels_from(
    columns: Sequence[NDArray[np.float64]] | NDArray[np.float64], choices: Sequence[ChannelChoice]
) -> dict[str, NDArray[np.float64]]:
    """The same from columns that already stand in the order of `choices`, as `block.unpack` gives them."""
    channels: dict[str, NDArray[np.float64]] = {}
    for column, choice in zip(columns, choices, strict=True):
        inside = CHANNELS[choice.quantity].inside_unit
        # a column already in the inside unit keeps its very bits
        channels[choice.quantity] = (
            np.array(column, dtype=np.float64) if choice.unit == inside else to_inside(column, choice.unit, inside)
        )
    return channels
