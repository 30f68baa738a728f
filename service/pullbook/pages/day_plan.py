"""A day of the shop as a table: a row for each cell, its bookings drawn where they lie, what is free offered."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.db.tables import Cell, Ticket
from pullbook.pages.cards import cards_of
from pullbook.pages.desk_shown import DayPlan, Lane, Slot, TicketCard, WeekDay
from pullbook.shop.booking import KEEPS_ITS_TIME
from pullbook.shop.day_planning import QUARTER, PlannedDay, day_span, free_quarters, planned_day, touching

SHORTEST_OFFER = 2  # quarters: less than half an hour is not worth offering


def cards_on(session: Session, plan: PlannedDay) -> list[TicketCard]:
    """Every ticket whose booking touches this day, in whatever state, soonest first."""
    return cards_of(session, *touching(plan.begins, plan.ends))


def day_plan(session: Session, day: date, now: datetime, time_zone: str) -> DayPlan:
    """The plan of any day, with the week around it. Invalid for a day out of reach."""
    planned = planned_day(day, time_zone)
    return plan_with(session, planned, cards_on(session, planned), now, time_zone)


def plan_with(
    session: Session, planned: PlannedDay, cards: Sequence[TicketCard], now: datetime, time_zone: str
) -> DayPlan:
    """The same from cards that were read already."""
    booked = [card for card in cards if card.state != "cancelled"]
    first, last = _shown(planned, booked)
    lanes: list[Lane] = []
    for cell_id, name in session.execute(select(Cell.id, Cell.name).order_by(Cell.name, Cell.id)):
        of_cell = [card for card in booked if card.cell_id == cell_id]
        lanes += _lanes(planned, cell_id, name, of_cell, (first, last), now)
    return DayPlan(
        day=planned.day,
        today=now.astimezone(ZoneInfo(time_zone)).date(),
        hours=tuple((mark.label, mark.quarters) for mark in planned.hours if first <= mark.first < last),
        lanes=tuple(lanes),
        week=_week(session, planned.day, time_zone),
    )


def _span(planned: PlannedDay, card: TicketCard) -> tuple[int, int]:
    begins = card.booked_from or planned.begins
    return planned.span(begins, card.booked_to or begins + timedelta(hours=1))


def _shown(planned: PlannedDay, booked: Sequence[TicketCard]) -> tuple[int, int]:
    """From opening to closing in whole hours, and as much more as the bookings take."""
    first, last = planned.offered
    for begins, ends in (_span(planned, card) for card in booked):
        first, last = min(first, begins), max(last, ends)
    shown = [mark for mark in planned.hours if mark.end > first and mark.first < last]
    return shown[0].first, shown[-1].end


def _lanes(
    planned: PlannedDay, cell_id: str, name: str, cards: Sequence[TicketCard], shown: tuple[int, int], now: datetime
) -> list[Lane]:
    """A cell's rows: as many as bookings overlap, at least one."""
    rows: list[list[tuple[int, int, TicketCard]]] = [[]]
    for card in cards:
        begins, ends = _span(planned, card)
        free = next((row for row in rows if not row or row[-1][1] <= begins), None)
        if free is None:
            rows.append(free := [])
        free.append((begins, ends, card))
    held = [_span(planned, card) for card in cards if card.state in KEEPS_ITS_TIME]
    first, last = shown
    open_to = free_quarters(max(first, -((planned.begins - now) // QUARTER)), last, held)
    return [
        Lane(cell_id, name, number == 0, len(rows), _slots(planned, row, shown, () if number else open_to))
        for number, row in enumerate(rows)
    ]


def _slots(
    planned: PlannedDay,
    row: Sequence[tuple[int, int, TicketCard]],
    shown: tuple[int, int],
    open_to: Sequence[tuple[int, int]],
) -> tuple[Slot, ...]:
    """The row from the first to the last quarter shown: a booking as one stretch, free time hour by hour."""
    first, last = shown
    offers = {begins: ends for begins, ends in open_to if ends - begins >= SHORTEST_OFFER}
    slots = []
    for begins, ends in free_quarters(first, last, [(begins, ends) for begins, ends, _ in row]):
        cuts = [mark.first for mark in planned.hours if begins < mark.first < ends]
        for at, to in pairwise([begins, *cuts, ends]):
            offer = next((start for start in offers if at <= start < to), None)
            free = (None, None) if offer is None else (planned.at(offer), planned.at(offers[offer]))
            slots.append((at, Slot(to - at, None, *free)))
    slots += [(begins, Slot(ends - begins, card)) for begins, ends, card in row]
    return tuple(slot for _, slot in sorted(slots, key=lambda one: one[0]))


def _week(session: Session, day: date, time_zone: str) -> tuple[WeekDay, ...]:
    """Monday to Sunday around this day, with how many bookings touch each."""
    monday = day - timedelta(days=day.weekday())
    days = [monday + timedelta(days=number) for number in range(7)]
    spans = [day_span(one, time_zone) for one in days]
    rows = session.execute(
        select(Ticket.booked_from, Ticket.booked_to).where(
            Ticket.state != "cancelled", *touching(spans[0][0], spans[-1][1])
        )
    )
    booked = [(row[0], row[1]) for row in rows if row[0] and row[1]]
    return tuple(
        WeekDay(one, sum(start < ends and end > begins for start, end in booked))
        for one, (begins, ends) in zip(days, spans, strict=True)
    )
