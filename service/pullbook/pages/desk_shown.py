"""What the desk's templates are given."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import ClassVar

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
    cell_name: str | None
    booked_from: datetime | None
    booked_to: datetime | None
    pull_count: int


@dataclass(frozen=True)
class Slot:
    """A stretch of a cell's day: half hours, and the ticket that takes them, if any."""

    half_hours: int
    ticket: TicketCard | None


@dataclass(frozen=True)
class Lane:
    """One row of the day: a cell's, and a further one where two bookings overlap."""

    cell_name: str
    is_first: bool
    rows: int
    slots: tuple[Slot, ...]


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
    """Today."""

    template: ClassVar[str] = "desk/board.html"
    today: date = told("The day, on the shop's calendar.")
    hours: tuple[int, ...] = told("The hours that the day's table shows, by the shop's clock.")
    lanes: tuple[Lane, ...] = told("The day by cell, in half hours.")
    columns: tuple[StateColumn, ...] = told("Open tickets by state, and what was finished today.")
    has_cells: bool = told("Whether the shop has any cell yet.")
    has_tickets: bool = told("Whether there has ever been a ticket.")


@dataclass(frozen=True)
class NewTicketPage(Shown):
    """A new ticket."""

    template: ClassVar[str] = "desk/new_ticket.html"
    cells: tuple[CellBrief, ...] = told("The cells to choose from.")
    customer: CustomerBrief | None = told("The customer, where the address names one.")
    vehicle: VehicleBrief | None = told("The car, where the address names one.")
    now: datetime = told("The time: what the booking begins with.")
