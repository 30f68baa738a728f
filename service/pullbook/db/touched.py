"""Which tickets a transaction touched, noted by the session itself: whoever writes need not think of it.

Objects are seen as they are flushed, statements as they are executed. What is counted of tickets is then counted anew
before the transaction commits, by whoever listens to `WritingSession`.
"""

from collections.abc import Iterable, Mapping
from dataclasses import field
from typing import Any

from sqlalchemy import event, inspect, select
from sqlalchemy.orm import ORMExecuteState, Session

from pullbook.late_methods import dataclass

# every table that says something of a ticket which a month is counted from, and the column that names the ticket
NAMES_TICKET = {
    "ticket": "id",
    "ticket_step": "ticket_id",
    "pull": "ticket_id",
    "charge": "ticket_id",
    "payment": "ticket_id",
    "results_link": "ticket_id",
}
_WAITING = "tickets_touched"


class WritingSession(Session):
    """A session of the engine that writes."""


@dataclass
class Touched:
    """What a transaction has changed so far."""

    tickets: dict[str, bool] = field(default_factory=dict)  # by id: whether it is new, or another customer's now
    customers: set[str] = field(default_factory=set)  # who had a ticket before it became somebody else's
    shop: bool = False

    def ticket(self, ticket_id: str, *, is_new: bool = False) -> None:
        """One more; what is known of it already stays known."""
        self.tickets[ticket_id] = self.tickets.get(ticket_id, False) or is_new


def take_touched(session: Session) -> Touched | None:
    """What was touched since this was last asked; None: nothing."""
    found: Touched | None = session.info.pop(_WAITING, None)
    return found


def _touched(session: Session) -> Touched:
    found: Touched = session.info.setdefault(_WAITING, Touched())
    return found


@event.listens_for(WritingSession, "after_flush")
def _see_objects(session: Session, _context: Any) -> None:
    for row in (*session.new, *session.dirty, *session.deleted):
        table = row.__tablename__
        if table == "shop":
            _touched(session).shop = True
        elif table in NAMES_TICKET and (row not in session.dirty or session.is_modified(row)):
            left = inspect(row).attrs.customer_id.history.deleted if table == "ticket" else ()
            is_new = table == "ticket" and (row in session.new or bool(left))
            _touched(session).ticket(getattr(row, NAMES_TICKET[table]), is_new=is_new)
            _touched(session).customers.update(left or ())


@event.listens_for(WritingSession, "do_orm_execute")
def _see_statements(state: ORMExecuteState) -> None:
    if not (state.is_insert or state.is_update or state.is_delete):
        return
    statement: Any = state.statement
    table = statement.table
    if table.name == "shop":
        _touched(state.session).shop = True
    if table.name not in NAMES_TICKET:
        return
    if state.is_insert:
        for values in _inserted(statement, state.parameters):
            _touched(state.session).ticket(values[NAMES_TICKET[table.name]], is_new=table.name == "ticket")
        return
    column = table.c[NAMES_TICKET[table.name]]
    holders = [table.c.customer_id] if table.name == "ticket" else []
    asked = select(column, *holders)
    if statement.whereclause is not None:
        asked = asked.where(statement.whereclause)
    for ticket_id, *customer in state.session.execute(asked, state.parameters or {}):
        _touched(state.session).ticket(ticket_id, is_new=bool(customer))
        _touched(state.session).customers.update(customer)


def _inserted(statement: Any, parameters: Any) -> Iterable[Mapping[str, Any]]:
    """The rows of an INSERT, as given beside it or within it."""
    if parameters:
        return [parameters] if isinstance(parameters, Mapping) else list(parameters)
    return [statement.compile().params]
