"""Coming back after being forgotten: nothing that tells who somebody is is written onto what was emptied of it."""

from datetime import datetime

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session

from pullbook.db.tables import Customer, Ticket
from pullbook.errors import Clash, FieldProblem, Invalid

_WHOSE = (
    select(Customer.erased_at)
    .join(Ticket, Ticket.customer_id == Customer.id)
    .where(Ticket.id == bindparam("ticket_id"))
)


def refuse_unknown_or_forgotten(session: Session, customer_id: str) -> None:
    """Invalid where there is no such customer; Clash where they were forgotten: nothing would find what is added."""
    # whoever forgets them holds their row: wait, else what is added here would come after the emptying
    held = select(Customer.erased_at).where(Customer.id == customer_id).with_for_update(read=True, key_share=True)
    row = session.execute(held).one_or_none()
    if row is None:
        raise Invalid(
            f"There is no customer {customer_id}.",
            FieldProblem("customer_id", customer_id, "the id of a customer on record"),
        )
    refuse_forgotten(row.erased_at, "customer_id", customer_id)


def refuse_forgotten(erased_at: datetime | None, field: str, value: object) -> None:
    """Clash where a customer was forgotten at this time; None passes."""
    if erased_at is not None:
        raise Clash(
            f"This customer was forgotten on {erased_at:%Y-%m-%d}, on request; nothing more is written about them.",
            FieldProblem(field, value, "somebody who comes back is written down as a new customer"),
        )


def refuse_forgotten_job(session: Session, ticket_id: str, field: str, value: object) -> None:
    """Clash for a ticket of somebody who was forgotten. For rows on record: whoever holds the row knows it stays so."""
    refuse_forgotten(session.execute(_WHOSE, {"ticket_id": ticket_id}).scalar_one(), field, value)


def refuse_adding_to_forgotten(session: Session, ticket_id: str, field: str, value: object) -> None:
    """The same for what is about to be added, and whoever forgets this customer waits until it is; no ticket passes.

    To be called before a row is held: whoever forgets takes the customer's first, and the ticket's after it.
    """
    held = _WHOSE.with_for_update(read=True, key_share=True, of=Customer)
    refuse_forgotten(session.execute(held, {"ticket_id": ticket_id}).scalar_one_or_none(), field, value)
