"""What the owner's templates are given."""

from datetime import datetime
from typing import ClassVar

from pullbook.late_methods import dataclass
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


@dataclass(frozen=True)
class PersonLine:
    """Somebody who works here, or did."""

    id: str
    version: int
    full_name: str
    sign_in_name: str
    role: str
    disabled_at: datetime | None
    second_step: bool
    is_you: bool


@dataclass(frozen=True)
class StaffPage(Shown):
    """Who works here."""

    template: ClassVar[str] = "owner/staff.html"
    people: tuple[PersonLine, ...] = told("Everybody, by name.")


Choices = tuple[tuple[str, str], ...]  # (what is kept, what people read)


@dataclass(frozen=True)
class ShopPage(Shown):
    """The shop itself."""

    template: ClassVar[str] = "owner/shop.html"
    version: int = told("How often the shop's record was changed.")
    name: str = told("Its name.")
    address: str = told("Where it is, as customers read it; may be empty.")
    time_zone: str = told("Its time zone's name.")
    default_standard: str = told("The standard that curves open with.")
    power_unit: str = told("The unit of power shown.")
    torque_unit: str = told("The unit of torque shown.")
    pressure_unit: str = told("The unit of pressure shown.")
    temperature_unit: str = told("The unit of temperature shown.")
    speed_unit: str = told("The unit of road speed shown.")
    keep_customers_months: int | None = told("The term for customers; none: for good.")
    keep_photos_months: int | None = told("The term for photos; none: for good.")
    currency: str = told("The currency of prices, by its three letters.")
    prices_include_tax: bool = told("Whether prices are told with tax.")
    time_zones: Choices = told("Time zones to choose from.")
    standards: Choices = told("Standards to choose from.")
    power_units: Choices = told("Units of power to choose from.")
    torque_units: Choices = told("Units of torque to choose from.")
    pressure_units: Choices = told("Units of pressure to choose from.")
    temperature_units: Choices = told("Units of temperature to choose from.")
    speed_units: Choices = told("Units of road speed to choose from.")
