"""What the templates about calibration evidence and reference cars are given."""

from datetime import datetime
from typing import ClassVar

from pullbook.db.tables import Cell
from pullbook.db.tuning import ReferenceCar
from pullbook.late_methods import dataclass
from pullbook.pages.told import Shown, told
from pullbook.shop.calibrating import EvidenceRead, Proposed
from pullbook.shop.watching import CellsApart


@dataclass(frozen=True)
class EvidenceLine:
    """One piece of evidence: what it comes to in a line, and in depth."""

    read: EvidenceRead
    chosen: bool
    comes_to: str
    facts: tuple[tuple[str, str], ...]
    steps: tuple[tuple[str, str, str, str], ...]  # weights: kg, which way, truth N·m, left N·m
    wide_svg: str
    narrow_svg: str


@dataclass(frozen=True)
class ProposedLine:
    """One constant: how it stands, what the evidence comes to, and whether evidence gave it. `name` is the field's."""

    name: str
    title: str
    stands: str
    comes_to: str
    value: str
    given: bool


@dataclass(frozen=True)
class CalibrationPage(Shown):
    """One cell's evidence, and a calibration made from it."""

    template: ClassVar[str] = "owner/calibration.html"
    cell: Cell = told("The cell.")
    now: datetime = told("The time: what a new calibration holds from unless said otherwise.")
    in_force: tuple[tuple[str, str], ...] = told(
        "Constants in force now, title and value; empty without a calibration."
    )
    lines: tuple[EvidenceLine, ...] = told("All evidence, the latest first.")
    proposed: Proposed | None = told("What the chosen evidence comes to; None with nothing chosen.")
    constants: tuple[ProposedLine, ...] = told("The constants of a new calibration, line by line.")
    arm_m: float | None = told("The brake's arm as it stands, to begin with.")


@dataclass(frozen=True)
class VisitLine:
    """One visit, in the shop's units."""

    at: datetime
    power: str
    moving_range: str
    pull_ids: tuple[str, ...]
    out_of_control: str


@dataclass(frozen=True)
class ChartShown:
    """A cell's control chart with its table, the latest visit first. `verdict`: steady or not, in a sentence."""

    cell_id: str
    cell_name: str
    verdict: str
    is_steady: bool | None
    trend: str
    limits: str
    wide_svg: str
    narrow_svg: str
    lines: tuple[VisitLine, ...]


@dataclass(frozen=True)
class ReferencePage(Shown):
    """One reference car and what it says of each cell."""

    template: ClassVar[str] = "cell/reference.html"
    car: ReferenceCar = told("The reference car.")
    vehicle_title: str = told("Year, make and model.")
    standard_title: str = told("The standard it is read in.")
    charts: tuple[ChartShown, ...] = told("A chart for each cell it was pulled in.")
    cells_apart: tuple[CellsApart, ...] = told("Two cells held against each other through it.")
    left_out: tuple[tuple[str, str], ...] = told("Pulls that make no point, and why.")
    to_do: str = told("What to do about a point out of control.")


@dataclass(frozen=True)
class CarBrief:
    """A reference car in the list."""

    car: ReferenceCar
    vehicle_title: str
    cells: tuple[tuple[str, str], ...]  # cell and how it stands there


@dataclass(frozen=True)
class RollersPage(Shown):
    """Are the rollers steady: cells with their evidence, and the cars that watch them."""

    template: ClassVar[str] = "cell/rollers.html"
    cells: tuple[tuple[str, str], ...] = told("Each cell's id and name.")
    cars: tuple[CarBrief, ...] = told("Reference cars, those still in use first.")
    vehicles: tuple[tuple[str, str], ...] = told("Cars with pulls that may become one: id, and title with plate.")
    standards: tuple[tuple[str, str], ...] = told("Standards to choose from.")
    default_standard: str = told("The shop's usual standard.")
