"""Taking turns: on PostgreSQL, who changes what a ticket is found by holds the ticket first, as everybody else does.

Triggers mark tickets late and change the rows that find their pulls as soon as a record is written; whoever counts or
words a ticket holds its row and touches those afterwards. With one the other way about, two people at once would wait
for each other until the database refuses one of them. SQLite has one writer at a time.
"""

from typing import Any

from sqlalchemy import event, select
from sqlalchemy.orm import Session

from pullbook.db.evidence import Pull
from pullbook.db.tables import Customer, Setup, Ticket, Vehicle
from pullbook.db.touched import WritingSession

_HELD = select(Ticket.id).order_by(Ticket.id).with_for_update(key_share=True)


@event.listens_for(WritingSession, "before_flush")
def hold_tickets_first(session: Session, _context: Any, _rows: Any) -> None:
    """Hold the tickets of customers, cars, setups and pulls that are about to change."""
    changed = [row for row in session.dirty if isinstance(row, Customer | Vehicle | Setup | Pull)]
    if not changed or session.get_bind().dialect.name == "sqlite":
        return
    people = [row.id for row in changed if isinstance(row, Customer)]
    cars = [row.id for row in changed if isinstance(row, Vehicle)]
    ids = [row.ticket_id for row in changed if isinstance(row, Setup | Pull)]
    theirs = Ticket.customer_id.in_(people) | Ticket.vehicle_id.in_(cars) | Ticket.id.in_(ids)
    session.execute(_HELD.where(theirs))
