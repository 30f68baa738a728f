"""What the owner's templates are given."""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar

from pullbook.pages.told import Shown, told


@dataclass(frozen=True)
class CalibrationLine:
    """A calibration of a cell. `values` are (title, value with unit and uncertainty) in reading order."""

    id: str
    valid_from: datetime
    made_at: datetime
    made_by_name: str
    reason: str
    evidence: str
    in_force: bool
    values: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class CellCard:
    """A cell with its calibrations, latest first."""

    id: str
    name: str
    drive: str
    has_brake: bool
    altitude_m: float
    notes: str
    version: int
    calibrations: tuple[CalibrationLine, ...]


@dataclass(frozen=True)
class CellsPage(Shown):
    """The installations."""

    template: ClassVar[str] = "owner/cells.html"
    cells: tuple[CellCard, ...] = told("Every cell with its calibrations.")
    now: datetime = told("The time: what a new calibration holds from unless said otherwise.")
