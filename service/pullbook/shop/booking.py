"""Booking: ticket numbers without gaps, the moves a ticket may make, one car in a cell at a time."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.db.tables import Cell, Counter, Shop, Ticket, TicketStep
from pullbook.db.upserting import upsert
from pullbook.errors import Clash, FieldProblem, Invalid
from pullbook.shop.weather_matching import refuse_future

MOVES: dict[str, tuple[str, ...]] = {
    "booked": ("checked_in", "on_hold", "cancelled"),
    "checked_in": ("in_cell", "on_hold", "cancelled"),
    "in_cell": ("ready", "checked_in", "on_hold"),
    "ready": ("collected", "in_cell", "on_hold"),
    "collected": (),
    "on_hold": ("booked", "checked_in", "in_cell", "cancelled"),
    "cancelled": ("booked",),
}
KEEPS_ITS_TIME = ("booked", "checked_in", "in_cell", "on_hold")  # a ticket in these states holds its booked hours
LONGEST_BOOKING = timedelta(days=31)  # longer is a slip of the pen; and what touches a day is found by an index so


def next_number(session: Session) -> int:
    """The next ticket number. The counter's row stays locked until this transaction ends: no gap, no number twice."""
    statement = upsert(session, Counter).values(name="ticket", last=1)
    counted_on = statement.on_conflict_do_update(index_elements=["name"], set_={"last": Counter.last + 1})
    number: int = session.execute(counted_on.returning(Counter.last)).scalar_one()
    return number


def refuse_clash(session: Session, ticket: Ticket) -> None:
    """Clash when another ticket holds this cell in these hours, naming it; Invalid for half a time span."""
    if (ticket.booked_from is None) != (ticket.booked_to is None):
        raise Invalid(
            "A booking needs both its start and its end.",
            FieldProblem("booked_to", ticket.booked_to, "give booked_from and booked_to, or neither"),
        )
    if ticket.booked_from is None or ticket.booked_to is None:
        return
    if ticket.booked_to <= ticket.booked_from:
        raise Invalid(
            "The booking ends before it starts.",
            FieldProblem("booked_to", ticket.booked_to.isoformat(), f"later than {ticket.booked_from.isoformat()}"),
        )
    if ticket.booked_to - ticket.booked_from > LONGEST_BOOKING:
        raise Invalid(
            "The booking is longer than a month.",
            FieldProblem("booked_to", ticket.booked_to.isoformat(), f"within {LONGEST_BOOKING.days} days of its start"),
        )
    if ticket.cell_id is None or ticket.state not in KEEPS_ITS_TIME:
        return
    # whoever books this cell waits here, so that two bookings at once see each other
    cell_name = session.execute(select(Cell.name).where(Cell.id == ticket.cell_id).with_for_update()).scalar_one()
    other = session.execute(
        select(Ticket.number, Ticket.booked_from, Ticket.booked_to)
        .where(
            Ticket.cell_id == ticket.cell_id,
            Ticket.state.in_(KEEPS_ITS_TIME),
            Ticket.booked_from < ticket.booked_to,
            Ticket.booked_from > ticket.booked_from - LONGEST_BOOKING,
            Ticket.booked_to > ticket.booked_from,
            Ticket.number != ticket.number,
        )
        .order_by(Ticket.booked_from)
        .limit(1)
    ).one_or_none()
    if other is not None:
        taken = _span(session, other.booked_from, other.booked_to)
        raise Clash(
            f"{cell_name} is taken by ticket {other.number}: {taken}.",
            FieldProblem("booked_from", ticket.booked_from.isoformat(), f"a time outside {taken}, or another cell"),
        )


def _span(session: Session, begins: datetime, ends: datetime) -> str:
    """A stretch of time as the shop's own clock and calendar have it: Tue 10 Mar, 09:00 to 10:30."""
    zone = ZoneInfo(session.execute(select(Shop.time_zone)).scalar_one_or_none() or "UTC")
    first, last = begins.astimezone(zone), ends.astimezone(zone)
    day = "" if first.date() == last.date() else last.strftime("%a %-d %b, ")
    return f"{first:%a %-d %b, %H:%M} to {day}{last:%H:%M}"


def take_step(session: Session, ticket: Ticket, state: str, now: datetime, staff_id: str, note: str = "") -> None:
    """Move a ticket on and log it; Clash when it may not go there from where it is."""
    allowed = MOVES[ticket.state]
    if state not in allowed:
        can = f"from there it can go to {', '.join(allowed)}" if allowed else "it goes nowhere from there"
        raise Clash(
            f"Ticket {ticket.number} is {ticket.state}; it cannot become {state}.", FieldProblem("state", state, can)
        )
    ticket.state = state
    refuse_clash(session, ticket)
    ticket.version += 1
    log_step(session, ticket, now, staff_id, note)


def when_it_happened(
    session: Session, ticket_id: str | None, field: str, told: datetime | None, now: datetime
) -> datetime:
    """The time to log a step at: now, or as told where it is written up later, but never ahead or out of turn."""
    if told is None:
        return now
    refuse_future(field, told, now)
    newest = select(TicketStep.at).where(TicketStep.ticket_id == ticket_id).order_by(TicketStep.at.desc()).limit(1)
    last = None if ticket_id is None else session.execute(newest).scalar_one_or_none()
    if last is not None and told < last:
        raise Invalid(
            f"The ticket's last step was at {last.isoformat()}; the next one cannot have been before it.",
            FieldProblem(field, told.isoformat(), f"no earlier than {last.isoformat()}"),
        )
    return told


def log_step(session: Session, ticket: Ticket, now: datetime, staff_id: str, note: str = "") -> None:
    """Write down the state that a ticket is in now."""
    session.add(TicketStep(ticket_id=ticket.id, state=ticket.state, at=now, by=staff_id, note=note))
