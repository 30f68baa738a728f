"""Keeping the finding rows: each ticket's search text in step with the records, in the transaction that changed them.

Triggers mark a ticket late whenever something that it is found by is written, whoever writes it. Before any session
commits, the marked ones get their text anew. A pull's row is made by its trigger; its figures are `figuring`'s.
"""

from collections.abc import Iterable, Sequence
from itertools import groupby
from typing import Any, cast

from sqlalchemy import Table, delete, event, insert, select, text, update
from sqlalchemy.orm import Session

from pullbook.db.evidence import Pull
from pullbook.db.found import FoundDue, FoundFlag, FoundLate, FoundModel, FoundPull, FoundTicket
from pullbook.db.found_triggers import WORDED
from pullbook.db.stored_types import new_id
from pullbook.db.tables import Customer, Setup, Ticket, Vehicle
from pullbook.db.touched import WritingSession
from pullbook.db.upserting import upsert
from pullbook.shop.wording import Told, clean, closed, line_of, setup_line

AT_ONCE = 500
_LATE, _TICKET, _PULL = (cast("Table", kind.__table__) for kind in (FoundLate, FoundTicket, FoundPull))
_TAKE_LATE = delete(_LATE).returning(_LATE.c.ticket_id)
_HELD = select(Ticket.id).order_by(Ticket.id).with_for_update(key_share=True)
_TOLD = (
    select(
        Ticket.id,
        Ticket.number,
        Ticket.asked,
        Ticket.notes,
        Ticket.arrival_notes,
        Customer.full_name,
        Customer.phone,
        Customer.email,
        Customer.notes.label("customer_notes"),
        Vehicle.make,
        Vehicle.model,
        Vehicle.model_year,
        Vehicle.plate,
        Vehicle.vin,
        Vehicle.engine,
        Vehicle.displacement_l,
        Vehicle.aspiration,
        Vehicle.fuel,
        Vehicle.notes.label("vehicle_notes"),
    )
    .join(Customer, Customer.id == Ticket.customer_id)
    .join(Vehicle, Vehicle.id == Ticket.vehicle_id)
)


@event.listens_for(WritingSession, "before_commit")
def keep_words(session: Session) -> None:
    """Write anew the texts of tickets that this transaction made late.

    Their rows are held first: of two who change what one ticket is found by, the second sees what the first wrote.
    """
    session.flush()
    late = sorted(set(session.execute(_TAKE_LATE).scalars()))
    for at in range(0, len(late), AT_ONCE):
        ticket_ids = late[at : at + AT_ONCE]
        session.execute(_HELD.where(Ticket.id.in_(ticket_ids)))
        index_tickets(session, ticket_ids)


def index_tickets(session: Session, ticket_ids: Sequence[str]) -> None:
    """Make the search text of these tickets from what is on record of them now."""
    rows = session.execute(_TOLD.where(Ticket.id.in_(ticket_ids))).all()
    if not rows:
        return
    added = _added_lines(session, ticket_ids)
    models = _models(session, {(row.make, row.model) for row in rows})
    made = [_found_ticket(row, models, added.get(row.id, [])) for row in rows]
    there = set(session.scalars(select(_TICKET.c.number).where(_TICKET.c.number.in_([one["number"] for one in made]))))
    fresh = [one for one in made if one["number"] not in there]
    if fresh:
        session.execute(insert(_TICKET), fresh)
    for one in made:
        if one["number"] in there:
            session.execute(update(_TICKET).where(_TICKET.c.number == one["number"]).values(one))
    for (model_id, year), same in groupby(sorted(made, key=_car), key=_car):
        session.execute(
            update(_PULL)
            .where(
                _PULL.c.number.in_([one["number"] for one in same]),
                _PULL.c.model_id.is_distinct_from(model_id) | _PULL.c.model_year.is_distinct_from(year or None),
            )
            .values(model_id=model_id, model_year=year or None)
        )


def _car(one: dict[str, Any]) -> tuple[str, int]:
    return one["model_id"], one["model_year"] or 0


def _found_ticket(row: Any, models: dict[tuple[str, str], str], added: Sequence[str]) -> dict[str, Any]:
    own = line_of(
        Told(
            number=row.number,
            names=[row.full_name],
            plates=[row.plate],
            codes=[row.vin, row.phone],
            words=[row.make, row.model, row.engine],
            notes=[
                str(row.model_year or ""),
                row.email,
                row.asked,
                row.notes,
                row.arrival_notes or "",
                row.customer_notes,
                row.vehicle_notes,
            ],
        )
    )
    return {
        "number": row.number,
        "ticket_id": row.id,
        "model_id": models[clean(row.make), clean(row.model)],
        "model_year": row.model_year,
        "engine_key": closed(row.engine),
        "family_key": family_key(row.displacement_l, row.aspiration, row.fuel),
        "own_line": own,
        "line": " ".join(dict.fromkeys([own, *(line for line in added if line)])),
    }


def family_key(displacement_l: float | None, aspiration: str, fuel: str) -> str:
    """Engines alike by swept volume to a tenth of a litre, by how they breathe and what they burn."""
    return "" if displacement_l is None else f"{displacement_l:.1f} {aspiration} {fuel}"


def _added_lines(session: Session, ticket_ids: Sequence[str]) -> dict[str, list[str]]:
    """What setups and notes beside pulls add, by ticket, in an order that is always the same."""
    added: dict[str, list[str]] = {}
    setups = select(Setup.ticket_id, Setup.name, Setup.changed, Setup.fuel).where(Setup.ticket_id.in_(ticket_ids))
    for row in session.execute(setups.order_by(Setup.ticket_id, Setup.position)):
        added.setdefault(row.ticket_id, []).append(setup_line(row.name, row.changed, row.fuel))
    noted = select(Pull.ticket_id, Pull.notes).where(Pull.ticket_id.in_(ticket_ids), Pull.notes != "")
    for ticket_id, notes in session.execute(noted.order_by(Pull.ticket_id, Pull.id)):
        added.setdefault(ticket_id, []).append(setup_line(notes))
    return added


def _models(session: Session, named: Iterable[tuple[str, str]]) -> dict[tuple[str, str], str]:
    """The ids of these makes and models, those met for the first time added."""
    keys = {(clean(make), clean(model)): (make, model) for make, model in sorted(named)}
    makes = {make for make, _ in keys}
    rows = session.execute(
        select(FoundModel.make_key, FoundModel.model_key, FoundModel.id).where(FoundModel.make_key.in_(makes))
    )
    known = {(row.make_key, row.model_key): row.id for row in rows}
    for key, (make, model) in keys.items():
        if key not in known:
            known[key] = _new_model(session, key, make, model)
    return known


def _new_model(session: Session, key: tuple[str, str], make: str, model: str) -> str:
    # two transactions may meet the same new model at once: the second waits and takes what the first wrote
    values = {"id": new_id(), "make_key": key[0], "model_key": key[1], "make": make, "model": model}
    session.execute(upsert(session, FoundModel).values(values).on_conflict_do_nothing())
    return session.execute(
        select(FoundModel.id).where(FoundModel.make_key == key[0], FoundModel.model_key == key[1])
    ).scalar_one()


def make_words_again(session: Session, above: int = 0) -> int | None:
    """The texts of the next tickets above this number; gives the last one's number, None after the last of all."""
    statement = select(Ticket.number, Ticket.id).where(Ticket.number > above).order_by(Ticket.number).limit(AT_ONCE)
    rows = session.execute(statement).all()
    if rows:
        index_tickets(session, [row.id for row in rows])
        return int(rows[-1].number)
    if session.get_bind().dialect.name == "sqlite":
        _tell_word_indexes(session, "rebuild")
    tidy_words(session)
    return None


def make_pulls_again(session: Session) -> None:
    """Every pull's row from nothing, all of them due to be read."""
    for kind in (FoundFlag, FoundDue, FoundPull):
        session.execute(delete(kind))
    cars = FoundTicket
    chosen = (
        select(
            Pull.id,
            Pull.taken_at,
            Ticket.number,
            Pull.setup_id,
            Pull.cell_id,
            Pull.kind,
            Pull.set_aside_at.is_not(None),
            cars.model_id,
            cars.model_year,
        )
        .join(Ticket, Ticket.id == Pull.ticket_id)
        .outerjoin(cars, cars.number == Ticket.number)
    )
    names = ["pull_id", "taken_at", "number", "setup_id", "cell_id", "kind", "set_aside", "model_id", "model_year"]
    session.execute(insert(_PULL).from_select(names, chosen))
    session.execute(insert(FoundDue).from_select(["pull_id"], select(Pull.id)))


def forget(session: Session, customer_id: str) -> None:
    """After a customer was erased: their texts from what is left on record, and nothing of the old in the word index.

    The text itself follows by trigger like any change; the pieces that were looked up are merged away here.
    """
    session.flush()
    ticket_ids = session.scalars(select(Ticket.id).where(Ticket.customer_id == customer_id)).all()
    for at in range(0, len(ticket_ids), AT_ONCE):
        index_tickets(session, ticket_ids[at : at + AT_ONCE])
    tidy_words(session)


def tidy_words(session: Session) -> None:
    """Merge the pieces that SQLite's word indexes grow by: a search opens every piece for each three letters."""
    if session.get_bind().dialect.name == "sqlite":
        _tell_word_indexes(session, "optimize")


def _tell_word_indexes(session: Session, what: str) -> None:
    for index, *_ in WORDED:
        session.execute(text(f"INSERT INTO {index} ({index}) VALUES ('{what}')"))  # noqa: S608
