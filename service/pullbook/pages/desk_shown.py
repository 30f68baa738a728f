"""What the desk's templates are given."""

from datetime import date, datetime, timedelta
from typing import ClassVar

from pullbook.late_methods import dataclass
from pullbook.pages.told import Shown, told


@dataclass(frozen=True)
class CellBrief:
    """A cell, to be chosen."""

    id: str
    name: str
    drive: str
    has_brake: bool
    altitude_m: float


@dataclass(frozen=True)
class CustomerBrief:
    """A customer, to be recognised."""

    id: str
    full_name: str
    phone: str
    email: str


@dataclass(frozen=True)
class VehicleBrief:
    """A car, to be recognised."""

    id: str
    customer_id: str
    title: str
    plate: str


@dataclass(frozen=True)
class TicketCard:
    """A ticket on the board."""

    id: str
    number: int
    customer_name: str
    vehicle_title: str
    plate: str
    asked: str
    state: str
    cell_id: str | None
    cell_name: str | None
    booked_from: datetime | None
    booked_to: datetime | None
    pull_count: int


@dataclass(frozen=True)
class Slot:
    """A stretch of a cell's day, in quarters of an hour: a booking, or free, with where a new one would begin."""

    quarters: int
    ticket: TicketCard | None = None
    free_from: datetime | None = None
    free_to: datetime | None = None


@dataclass(frozen=True)
class Lane:
    """One row of the day: a cell's, and a further one where two bookings overlap."""

    cell_id: str
    cell_name: str
    is_first: bool
    rows: int
    slots: tuple[Slot, ...]


@dataclass(frozen=True)
class WeekDay:
    """A day of the week around the one shown, and how much is booked on it."""

    day: date
    bookings: int


@dataclass(frozen=True)
class DayPlan:
    """A day by cell and hour."""

    day: date
    today: date
    hours: tuple[tuple[str, int], ...]  # as the clock names it, and its quarters
    lanes: tuple[Lane, ...]
    week: tuple[WeekDay, ...]

    @property
    def previous(self) -> date:
        """The day before."""
        return self.day - timedelta(days=1)

    @property
    def following(self) -> date:
        """The day after."""
        return self.day + timedelta(days=1)


@dataclass(frozen=True)
class StateColumn:
    """The tickets in one state."""

    state: str
    tickets: tuple[TicketCard, ...]


@dataclass(frozen=True)
class SignInPage(Shown):
    """Sign in."""

    template: ClassVar[str] = "desk/sign_in.html"
    onward: str = told("The page of ours to go on to afterwards.")
    already: bool = told("Whether somebody is signed in already.")


@dataclass(frozen=True)
class SetUpPage(Shown):
    """The first owner and the shop."""

    template: ClassVar[str] = "desk/set_up.html"
    token: str = told("The one-time token from the link.")
    time_zones: tuple[str, ...] = told("Names of time zones to choose from.")


@dataclass(frozen=True)
class BoardPage(Shown):
    """Today, or another day."""

    template: ClassVar[str] = "desk/board.html"
    plan: DayPlan = told("The day by cell and hour.")
    columns: tuple[StateColumn, ...] = told("Today: open tickets by state, and what was finished. Else the day's own.")
    has_cells: bool = told("Whether the shop has any cell yet.")
    has_tickets: bool = told("Whether there has ever been a ticket.")


@dataclass(frozen=True)
class Offered:
    """An item of the price list, to be asked for."""

    id: str
    name: str
    kind_of_work: str
    price: str  # with its currency and unit


@dataclass(frozen=True)
class Wanted:
    """Where and when a new ticket would be booked, as the address says."""

    cell_id: str
    begins: datetime | None
    ends: datetime | None
