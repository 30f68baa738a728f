"""Today's board: tickets by state, and the day of each cell in half hours."""

from datetime import datetime, time, timedelta
from itertools import groupby
from zoneinfo import ZoneInfo

from sqlalchemy import exists, func, or_, select
from sqlalchemy.orm import Session

from pullbook.db.evidence import Pull
from pullbook.db.tables import Cell, Customer, Ticket, TicketStep, Vehicle
from pullbook.pages.desk_shown import BoardPage, Lane, Slot, StateColumn, TicketCard
from pullbook.pages.finding import vehicle_title

OPEN = ("booked", "checked_in", "in_cell", "ready", "on_hold")  # as a car goes through the shop
OVER = ("collected", "cancelled")
MOST_CARDS = 400
OPENS, CLOSES = 8, 18  # the hours shown even on an empty day


def read_board(session: Session, now: datetime, time_zone: str) -> BoardPage:
    """The board of the day that `now` falls on, by the shop's clock."""
    zone = ZoneInfo(time_zone)
    today = now.astimezone(zone).date()
    start = datetime.combine(today, time(), zone)
    end = start + timedelta(days=1)
    cards = _cards(session, start, end)
    names = list(session.scalars(select(Cell.name).order_by(Cell.name)))
    booked = [card for card in cards if card.state != "cancelled" and _falls_in(card, start, end)]
    first, last = _hours(booked, zone, start, end)
    opens = start + timedelta(hours=first)
    lanes = [lane for name in names for lane in _lanes(name, booked, opens, (last - first) * 2)]
    return BoardPage(
        today=today,
        hours=tuple(range(first, last)),
        lanes=tuple(lanes),
        columns=tuple(
            StateColumn(state, tuple(card for card in cards if card.state == state)) for state in (*OPEN, *OVER)
        ),
        has_cells=bool(names),
        has_tickets=bool(cards) or session.execute(select(exists().select_from(Ticket))).scalar_one(),
    )


def _cards(session: Session, start: datetime, end: datetime) -> list[TicketCard]:
    """Open tickets, and those whose last step to the end was today; soonest first."""
    ended_today = exists().where(
        TicketStep.ticket_id == Ticket.id, TicketStep.state == Ticket.state, TicketStep.at >= start, TicketStep.at < end
    )
    pulls = select(func.count()).where(Pull.ticket_id == Ticket.id).scalar_subquery()
    rows = session.execute(
        select(Ticket, Customer.full_name, Vehicle, Cell.name, pulls)
        .join(Customer, Customer.id == Ticket.customer_id)
        .join(Vehicle, Vehicle.id == Ticket.vehicle_id)
        .outerjoin(Cell, Cell.id == Ticket.cell_id)
        .where(or_(Ticket.state.in_(OPEN), ended_today))
        .order_by(Ticket.booked_from.is_(None), Ticket.booked_from, Ticket.number)
        .limit(MOST_CARDS)
    )
    return [
        TicketCard(
            id=ticket.id,
            number=ticket.number,
            customer_name=customer,
            vehicle_title=vehicle_title(vehicle.model_year, vehicle.make, vehicle.model),
            plate=vehicle.plate,
            asked=ticket.asked,
            state=ticket.state,
            cell_name=cell,
            booked_from=ticket.booked_from,
            booked_to=ticket.booked_to,
            pull_count=count,
        )
        for ticket, customer, vehicle, cell, count in rows
    ]


def _falls_in(card: TicketCard, start: datetime, end: datetime) -> bool:
    return card.booked_from is not None and card.booked_from < end and (card.booked_to or card.booked_from) > start


def _hours(booked: list[TicketCard], zone: ZoneInfo, start: datetime, end: datetime) -> tuple[int, int]:
    first, last = OPENS, CLOSES
    for card in booked:
        assert card.booked_from is not None  # noqa: S101
        begins = max(card.booked_from, start).astimezone(zone)
        ends = min(card.booked_to or card.booked_from + timedelta(hours=1), end).astimezone(zone)
        first = min(first, begins.hour)
        last = max(last, 24 if ends.date() > begins.date() else ends.hour + (ends.minute > 0))
    return first, last


def _lanes(cell_name: str, booked: list[TicketCard], opens: datetime, half_hours: int) -> list[Lane]:
    """A cell's rows: as many as bookings overlap, at least one."""
    rows: list[list[tuple[int, int, TicketCard]]] = [[]]
    for card in (card for card in booked if card.cell_name == cell_name):
        assert card.booked_from is not None  # noqa: S101
        begins = max(0, round((card.booked_from - opens) / timedelta(minutes=30)))
        ends = round(((card.booked_to or card.booked_from + timedelta(hours=1)) - opens) / timedelta(minutes=30))
        ends = min(half_hours, max(ends, begins + 1))
        begins = min(begins, ends - 1)
        free = next((row for row in rows if not row or row[-1][1] <= begins), None)
        if free is None:
            rows.append(free := [])
        free.append((begins, ends, card))
    return [Lane(cell_name, number == 0, len(rows), _slots(row, half_hours)) for number, row in enumerate(rows)]


def _slots(row: list[tuple[int, int, TicketCard]], half_hours: int) -> tuple[Slot, ...]:
    """The row from opening to closing: free half hours one by one, a booking as one stretch."""
    taken: list[TicketCard | None] = [None] * half_hours
    for begins, ends, card in row:
        taken[begins:ends] = [card] * (ends - begins)
    slots = []
    for (card, _), run in groupby(enumerate(taken), key=lambda pair: (pair[1], pair[0] if pair[1] is None else -1)):
        slots.append(Slot(len(list(run)), card))
    return tuple(slots)
