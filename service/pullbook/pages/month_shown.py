"""What the templates of the owner's month are given."""

from typing import ClassVar

from pullbook.late_methods import dataclass
from pullbook.pages.told import Shown, told


@dataclass(frozen=True)
class FigureCell:
    """A figure of one month as people read it. `change`: this month against it; `empty`: no tickets are behind it."""

    month: str
    value: str
    change: str = ""
    empty: bool = False


@dataclass(frozen=True)
class FigureLine:
    """A figure: what it is, what it counts, and its three months. `figure` and `kind` find its tickets."""

    title: str
    counts: str
    figure: str
    kind: str
    cells: tuple[FigureCell, ...]


@dataclass(frozen=True)
class FigureGroup:
    """Figures that belong together, under a heading."""

    title: str
    lines: tuple[FigureLine, ...]


@dataclass(frozen=True)
class MonthsTable:
    """All the months as numbers: headings, and for each month its name, its words and its values."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, str, tuple[str, ...]], ...]


@dataclass(frozen=True)
class MonthPage(Shown):
    """One month beside the one before it and the same one a year ago."""

    template: ClassVar[str] = "owner/month.html"
    month: str = told("The month, 2026-11.")
    title: str = told("The month in words, November 2026.")
    is_running: bool = told("Whether it is not over yet.")
    is_counted: bool = told("Whether what is kept can be shown; where not, a command counts it.")
    is_empty: bool = told("Whether nothing at all happened in it.")
    earlier: str = told("The month before.")
    later: str = told("The month after; empty where that has not begun.")
    compared: tuple[str, ...] = told("The three months in words, this one first.")
    groups: tuple[FigureGroup, ...] = told("Every figure, in groups.")
    drawings: tuple[str, ...] = told("Two dozen months as drawings; none where nothing happened in any.")
    table: MonthsTable = told("The same months as numbers.")
    not_over: tuple[tuple[str, str, str], ...] = told("Figure, words and money of tickets that are not over yet.")
    currency: str = told("The currency of all money.")


@dataclass(frozen=True)
class TicketBehind:
    """A ticket behind a figure."""

    id: str
    number: int
    customer_name: str
    vehicle_title: str
    state: str
    added: str


@dataclass(frozen=True)
class MonthTicketsPage(Shown):
    """The tickets behind a figure."""

    template: ClassVar[str] = "owner/month_tickets.html"
    month: str = told("The month, 2026-11; not-over for tickets that are not over yet.")
    title: str = told("The month in words.")
    figure: str = told("The figure's name.")
    kind: str = told("The kind of work, where the figure is its income.")
    figure_title: str = told("The figure as the month's page calls it.")
    counts: str = told("What it counts, in a sentence.")
    value: str = told("The figure itself.")
    is_count: bool = told("Whether each ticket counts one, so that no column need say so.")
    tickets: tuple[TicketBehind, ...] = told("The tickets, newest first.")
    following: str | None = told("The ticket to go on from; none where these are the last.")


@dataclass(frozen=True)
class FlagCount:
    """A flag, in words, and how many pulls of the month carried it."""

    code: str
    words: str
    count: int


@dataclass(frozen=True)
class MonthFlagsPage(Shown):
    """Flags of a month's pulls."""

    template: ClassVar[str] = "owner/month_flags.html"
    month: str = told("The month, 2026-11.")
    title: str = told("The month in words.")
    flags: tuple[FlagCount, ...] = told("Every flag that a pull of it carried, the most frequent first.")
    unread: int = told("How many of its pulls are still to be read.")
    first_day: str = told("Its first day, as the archive takes it.")
    last_day: str = told("Its last day.")
