"""Channelling: a loaded pull's columns as channels in inside units, on one time base."""

from collections.abc import Collection

from pullbook.measure.resampling import on_the_stamps_of
from pullbook.runfile.block import unpack
from pullbook.runfile.channel_map import ROLLER_QUANTITIES
from pullbook.runfile.channels import apply_map, columns_needed
from pullbook.shop.facts import Floats
from pullbook.shop.loading import Loaded
from pullbook.shop.mapping import choices_of

# readers whose files have a row for every stamp of any of their groups, and so blanks that nobody left
APART = ("mdf", "can")


def own_channels(loaded: Loaded, wanted: Collection[str] | None = None) -> dict[str, Floats]:
    """The channels of the pull's own file that its map names (of these only `wanted`, where given), as (rows,) arrays.

    LookupError where the file has no columns or no map yet: ask that first. ChannelMapError where the map names a
    column that the file does not have.
    """
    columns, channel_map = loaded.columns, loaded.channel_map
    if columns is None or channel_map is None:
        raise LookupError("what stands in the way is asked first")
    choices = choices_of(channel_map.columns)
    if wanted is not None:
        choices = tuple(choice for choice in choices if choice.quantity in wanted)
    headers = columns.headers
    places = columns_needed(headers, choices)
    channels = apply_map([headers[place] for place in places], unpack(columns.block, places), choices)
    if columns.reader.startswith(APART):
        base = next(name for name in ROLLER_QUANTITIES if name in channels)
        return on_the_stamps_of(base, channels)
    return channels
