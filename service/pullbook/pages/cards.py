"""Tickets as cards: what the board and the day's plan show of each."""

from sqlalchemy import ColumnElement, func, select
from sqlalchemy.orm import Session

from pullbook.db.evidence import Pull
from pullbook.db.tables import Cell, Customer, Ticket, Vehicle
from pullbook.pages.desk_shown import TicketCard
from pullbook.pages.finding import vehicle_title

MOST_CARDS = 400


def cards_of(session: Session, *conditions: ColumnElement[bool]) -> list[TicketCard]:
    """The tickets that meet these conditions, soonest booking first, those without one last; 400 at the most."""
    pulls = select(func.count()).where(Pull.ticket_id == Ticket.id).scalar_subquery()
    rows = session.execute(
        select(Ticket, Customer.full_name, Vehicle, Cell.name, pulls)
        .join(Customer, Customer.id == Ticket.customer_id)
        .join(Vehicle, Vehicle.id == Ticket.vehicle_id)
        .outerjoin(Cell, Cell.id == Ticket.cell_id)
        .where(*conditions)
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
            cell_id=ticket.cell_id,
            cell_name=cell,
            booked_from=ticket.booked_from,
            booked_to=ticket.booked_to,
            pull_count=count,
        )
        for ticket, customer, vehicle, cell, count in rows
    ]
