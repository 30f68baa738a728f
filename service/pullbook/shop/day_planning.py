"""Planning a day: which instants a day of the shop's calendar has, what is booked in them, and what is free.

A day is cut into quarters of an hour from the instant of its first midnight to that of the next: 96 of them, and on
the two nights when the clocks change 92 and 100 (in zones that shift by an hour). Each hour is named as the wall clock
names it, so one may be missing, and one may be there twice and is then told apart by the zone's own letters.
"""

from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, time, timedelta
from itertools import groupby
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, select
from sqlalchemy.orm import Session

from pullbook.db.tables import Cell, Shop, Ticket
from pullbook.errors import FieldProblem, Invalid
from pullbook.late_methods import dataclass
from pullbook.shop.booking import KEEPS_ITS_TIME, LONGEST_BOOKING

QUARTER = timedelta(minutes=15)
OPENS, CLOSES = 8, 18  # the hours that are offered, and that are shown even on an empty day


@dataclass(frozen=True, slots=True)
class HourMark:
    """One hour of a day as the wall clock names it; `first` counts quarters from midnight."""

    hour: int
    label: str
    first: int
    quarters: int

    @property
    def end(self) -> int:
        """The quarter after its last."""
        return self.first + self.quarters


@dataclass(frozen=True, slots=True)
class PlannedDay:
    """A day of the shop's calendar. `begins` and `ends` are its midnights, in UTC."""

    day: date
    begins: datetime
    ends: datetime
    hours: tuple[HourMark, ...]

    @property
    def quarters(self) -> int:
        """How many quarters of an hour it has."""
        return self.hours[-1].end

    def at(self, quarter: int) -> datetime:
        """The instant that a quarter begins at."""
        return self.begins + quarter * QUARTER

    def span(self, begins: datetime, ends: datetime) -> tuple[int, int]:
        """The quarters that a stretch of time touches on this day; at least one."""
        first = min(max(0, (begins - self.begins) // QUARTER), self.quarters - 1)
        last = min(self.quarters, -((self.begins - ends) // QUARTER))
        return first, max(last, first + 1)

    @property
    def offered(self) -> tuple[int, int]:
        """From opening to closing, in quarters."""
        open_hours = [mark for mark in self.hours if OPENS <= mark.hour < CLOSES]
        return open_hours[0].first, open_hours[-1].end


@dataclass(frozen=True, slots=True)
class FreeTime:
    """A stretch in which a cell is free, within the hours that are offered."""

    cell_id: str
    cell_name: str
    drive: str
    begins_at: datetime
    ends_at: datetime


def zone_of(session: Session) -> str:
    """The shop's time zone by name; UTC until the shop is set up."""
    return session.execute(select(Shop.time_zone)).scalar_one_or_none() or "UTC"


def day_span(day: date, time_zone: str) -> tuple[datetime, datetime]:
    """The first instant of a day of that zone's calendar and of the next, in UTC. Invalid outside 1900 to 2200."""
    if not 1900 <= day.year <= 2200:
        raise Invalid("That day is out of reach.", FieldProblem("day", day.isoformat(), "a day of 1900 to 2200"))
    zone = ZoneInfo(time_zone)
    ends = datetime.combine(day + timedelta(days=1), time(), zone)
    return datetime.combine(day, time(), zone).astimezone(UTC), ends.astimezone(UTC)


def planned_day(day: date, time_zone: str) -> PlannedDay:
    """A day with its hours, by that zone's clock. Invalid for one that its calendar leapt over."""
    begins, ends = day_span(day, time_zone)
    if begins == ends:
        problem = FieldProblem("day", day.isoformat(), "the day before or the day after")
        raise Invalid(f"In the time zone {time_zone} there was no {day.isoformat()}.", problem)
    zone = ZoneInfo(time_zone)
    clocks = [(begins + number * QUARTER).astimezone(zone) for number in range(-((begins - ends) // QUARTER))]
    runs = [list(run) for _, run in groupby(clocks, key=lambda at: (at.hour, at.utcoffset()))]
    times = [run[0].hour for run in runs]
    marks, first = [], 0
    for run in runs:
        twice = times.count(run[0].hour) > 1
        label = f"{run[0]:%H:%M}{f' {run[0]:%Z}' if twice else ''}"
        marks.append(HourMark(run[0].hour, label, first, len(run)))
        first += len(run)
    return PlannedDay(day, begins, ends, tuple(marks))


def touching(begins: datetime, ends: datetime) -> tuple[ColumnElement[bool], ...]:
    """Conditions that a ticket's booking touches this stretch; with the longest booking they stay within an index."""
    return Ticket.booked_from < ends, Ticket.booked_from > begins - LONGEST_BOOKING, Ticket.booked_to > begins


def free_quarters(first: int, last: int, taken: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    """What lies between `first` and `last` and in none of `taken`; all in quarters, ends left out."""
    free, at = [], first
    for begins, ends in sorted(taken):
        if begins > at:
            free.append((at, min(begins, last)))
        at = max(at, ends)
        if at >= last:
            break
    if at < last:
        free.append((at, last))
    return [(begins, ends) for begins, ends in free if ends > begins]


def free_times(session: Session, day: date, days: int, now: datetime) -> list[FreeTime]:
    """Where each cell is free from this day on, within the hours offered and not before now; by time, then cell."""
    time_zone = zone_of(session)
    spans = [(one, *day_span(one, time_zone)) for one in (day + timedelta(days=number) for number in range(days))]
    plans = [planned_day(one, time_zone) for one, begins, ends in spans if begins < ends or days == 1]
    held = session.execute(
        select(Ticket.cell_id, Ticket.booked_from, Ticket.booked_to).where(
            Ticket.state.in_(KEEPS_ITS_TIME), *touching(plans[0].begins, plans[-1].ends)
        )
    )
    taken: dict[str | None, list[tuple[datetime, datetime]]] = {}
    for cell_id, begins, ends in held:
        if begins and ends:
            taken.setdefault(cell_id, []).append((begins, ends))
    cells = session.execute(select(Cell.id, Cell.name, Cell.drive).order_by(Cell.name, Cell.id)).all()
    found = [
        FreeTime(*cell, plan.at(first), plan.at(last))
        for plan in plans
        for cell in cells
        for first, last in _free_on(plan, taken.get(cell.id, []), now)
    ]
    return sorted(found, key=lambda one: one.begins_at)


def _free_on(plan: PlannedDay, held: Sequence[tuple[datetime, datetime]], now: datetime) -> list[tuple[int, int]]:
    first, last = plan.offered
    first = max(first, -((plan.begins - now) // QUARTER))
    taken = [plan.span(begins, ends) for begins, ends in held if begins < plan.ends and ends > plan.begins]
    return free_quarters(first, last, taken)
