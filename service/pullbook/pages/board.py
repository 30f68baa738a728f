"""The board: tickets by state, and a day of each cell; today's, or that of any other day."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from sqlalchemy import exists, or_, select
from sqlalchemy.orm import Session

from pullbook.db.tables import Ticket, TicketStep
from pullbook.pages.cards import cards_of
from pullbook.pages.day_plan import cards_on, plan_with
from pullbook.pages.desk_shown import BoardPage, StateColumn, TicketCard
from pullbook.shop.day_planning import PlannedDay, planned_day

OPEN = ("booked", "checked_in", "in_cell", "ready", "on_hold")  # as a car goes through the shop
OVER = ("collected", "cancelled")


def read_board(session: Session, now: datetime, time_zone: str, day: date | None = None) -> BoardPage:
    """The board of a day of the shop's calendar; without one, of the day that `now` falls on."""
    today = now.astimezone(ZoneInfo(time_zone)).date()
    planned = planned_day(day or today, time_zone)
    booked = cards_on(session, planned)
    cards = _whereabouts(session, planned) if planned.day == today else booked
    plan = plan_with(session, planned, booked, now, time_zone)
    return BoardPage(
        plan=plan,
        columns=tuple(
            StateColumn(state, tuple(card for card in cards if card.state == state)) for state in (*OPEN, *OVER)
        ),
        has_cells=bool(plan.lanes),
        has_tickets=bool(cards) or session.execute(select(exists().select_from(Ticket))).scalar_one(),
    )


def _whereabouts(session: Session, today: PlannedDay) -> list[TicketCard]:
    """Open tickets, and those whose last step to the end was today."""
    ended_today = exists().where(
        TicketStep.ticket_id == Ticket.id,
        TicketStep.state == Ticket.state,
        TicketStep.at >= today.begins,
        TicketStep.at < today.ends,
    )
    return cards_of(session, or_(Ticket.state.in_(OPEN), ended_today))
