"""Which column is what, and in which unit: told by the headings where that is certain, asked where it is not."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pullbook.runfile.delimited import Header

# quantity (a key of measure.CHANNELS) → identifiers of the units it may come in (keys of measure.units.UNITS)
QUANTITIES: Mapping[str, tuple[str, ...]] = {}
# quantity → what it is called on a screen
QUANTITY_TITLES: Mapping[str, str] = {}


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


@dataclass(frozen=True)
class Recognised:
    """What the headings say by themselves. `questions` non-empty: a person must make or choose a channel map."""

    choices: tuple[ChannelChoice, ...]
    questions: tuple[str, ...]


def recognise(headers: Sequence[Header], values: NDArray[np.float64]) -> Recognised:
    """Read the headings. `values` (columns, rows) serves only to doubt, never to decide."""
    raise NotImplementedError


def check_map(choices: Sequence[ChannelChoice]) -> None:
    """Raise `ChannelMapError` if a map is wrong in itself: unknown quantity, a unit it does not take, a column or
    quantity named twice, no time, no roller speed."""
    raise NotImplementedError


def apply_map(
    headers: Sequence[Header], values: NDArray[np.float64], choices: Sequence[ChannelChoice]
) -> dict[str, NDArray[np.float64]]:
    """The channels of a run in inside units, keyed by quantity, each of shape (rows,).

    `values` is (columns, rows) in the order of `headers`. Raises `ChannelMapError` as `check_map` does, and when the
    file has no column of that heading.
    """
    raise NotImplementedError


def columns_needed(headers: Sequence[Header], choices: Sequence[ChannelChoice]) -> list[int]:
    """The positions of the columns a map uses, in the order of `choices`: what to ask `block.unpack` for."""
    raise NotImplementedError
