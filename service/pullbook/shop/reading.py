"""Reading pulls: raw columns, channel map, calibration and air in a few statements, then the calculation."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pullbook.measure.curve import Curve, Flag
from pullbook.shop.facts import (
    CalibrationFacts,
    CellFacts,
    Floats,
    MapFacts,
    OnGrid,
    PullFacts,
    SetupFacts,
    TicketFacts,
    WeatherFacts,
)
from sqlalchemy.orm import Session


@dataclass(frozen=True, slots=True)
class ReadSettings:
    """How pulls are to be read; the same settings and the same pull give the same bits."""

    standard: str = "iso_1585"
    window_s: float | None = None  # None: chosen from the data
    step_rpm: float = 50.0
    weather_stale_minutes: int = 60
    channels: frozenset[str] | None = None  # only these besides the calculation's own; None: every mapped one


@dataclass(frozen=True, slots=True)
class ReadPull:
    """One pull with everything it was read from, and its curve or the plain reason why there is none."""

    facts: PullFacts
    ticket: TicketFacts
    setup: SetupFacts
    cell: CellFacts
    curve: Curve | None
    weather: WeatherFacts | None
    calibration: CalibrationFacts | None
    channel_map: MapFacts | None
    failure: str | None  # why there is no curve, in words
    flags: tuple[Flag, ...]  # the curve's own and those about air, car and filing; each with code and text
    provenance: Mapping[str, object]
    digest: str  # of everything the curve is made from: the ETag

    def on_grid(self, grid_rpm: Floats) -> OnGrid:
        """This curve on another grid of whole steps; NaN where it has no points."""
        raise NotImplementedError


def read_pulls(session: Session, pull_ids: Sequence[str], settings: ReadSettings) -> list[ReadPull]:
    """Read pulls in the order asked for, in a fixed number of statements however many there are.

    NotFound names the ids that do not exist; Invalid names an unknown standard and the known ones.
    """
    raise NotImplementedError
