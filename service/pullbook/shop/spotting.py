"""Spotting customers, cars and tickets as somebody types: few of many from letters in threes, held against each word.

The indexes only narrow: which row is shown is decided by the same comparison with or without them. Where more than a
few could be meant nothing is narrowed, since walking back from the newest then soon fills the page.
"""

from collections.abc import Sequence
from typing import Any

from sqlalchemy import BigInteger, String, cast, column, or_, select, table, text, type_coerce, union
from sqlalchemy.orm import Session

from pullbook.db.tables import Customer, Ticket, Vehicle
from pullbook.shop.searching import holds, occurs, plain, spellings
from pullbook.shop.wording import LEAST, MOST_WORDS, Wanted

FEW = 2000
FEW_ALONE = 500  # of one word alone: the newest fifty tickets of more are as soon met one after the other
LONGEST_NUMBER = 18  # digits of a ticket's


def customers_with(session: Session, statement: Any, find: str) -> Any:
    """Of this statement's customers, those in whose name, telephone or e-mail every word occurs."""
    return _narrowed(session, statement, Customer, find)


def vehicles_with(session: Session, statement: Any, find: str) -> Any:
    """Of this statement's vehicles, those in whose plate, VIN, make, model, year or engine every word occurs."""
    return _narrowed(session, statement, Vehicle, find)


def tickets_with(session: Session, statement: Any, find: str) -> Any:
    """Of these tickets, joined with customer and vehicle, those where every word occurs in either or is the number."""
    words = plain(find).split()
    for word in words:
        numbered = cast(Ticket.number, String) == word.lstrip("#")
        statement = statement.where(or_(occurs(word, Customer.found_by, Vehicle.found_by), numbered))
    told = _narrowest(session, words[:MOST_WORDS])
    if told is None:
        return statement
    word, customers, vehicles = told
    meant: list[Any] = [
        select(Ticket.id).where(_one_of(Ticket.customer_id, customers)),
        select(Ticket.id).where(_one_of(Ticket.vehicle_id, vehicles)),
    ]
    if (number := word.lstrip("#")).isdecimal() and number.isascii() and len(number) < LONGEST_NUMBER:
        meant.append(select(Ticket.id).where(Ticket.number == int(number)))
    near = union(*meant).cte("near").prefix_with("MATERIALIZED")
    return statement.where(Ticket.id.in_(select(near.c.id)))


def _narrowed(session: Session, statement: Any, kind: Any, find: str) -> Any:
    statement = statement.where(*holds(kind.found_by, find))
    words = [word for word in plain(find).split()[:MOST_WORDS] if _is_looked_up(word)]
    ids = _few(session, kind, words, FEW) if words else None
    return statement if ids is None else statement.where(_one_of(kind.id, ids))


def _narrowest(session: Session, words: Sequence[str]) -> tuple[str, list[int], list[int]] | None:
    """The word that the fewest customers and cars hold, with these; of short ones only where no other will do."""
    most = FEW if len(words) > 1 else FEW_ALONE
    for is_looked_up in (True, False):
        found = []
        for word in words:
            if _is_looked_up(word) is is_looked_up and (customers := _few(session, Customer, [word], most)) is not None:
                vehicles = _few(session, Vehicle, [word], most)
                found += [] if vehicles is None else [(len(customers) + len(vehicles), word, customers, vehicles)]
        if found:
            return min(found)[1:]
    return None


def _one_of(key: Any, ids: Sequence[int]) -> Any:
    return type_coerce(key, BigInteger).in_(ids)


def _is_looked_up(word: str) -> bool:
    return all(len(way) >= LEAST for way in spellings(word))


def _few(session: Session, kind: Any, words: Sequence[str], most: int) -> list[int] | None:
    """Numbers of the rows that may hold the words, and of some that do not; None where there are more than so many."""
    ids = list(session.scalars(_meant(session, kind, words).limit(most + 1)))
    return ids if len(ids) <= most else None


def _meant(session: Session, kind: Any, words: Sequence[str]) -> Any:
    """From the index of letters in threes, or one by one where a word is too short for it."""
    own_id = type_coerce(kind.id, BigInteger)
    if not all(map(_is_looked_up, words)):
        return select(own_id).where(*(occurs(word, kind.found_by) for word in words))
    threes, name = Wanted((tuple(spellings(word) for word in words),)), f"found_words_{kind.__tablename__}"
    if session.get_bind().dialect.name == "sqlite":
        matched = text(f"{name} MATCH :threes").bindparams(threes=threes.fts5)
        return select(table(name, column("rowid", BigInteger)).c.rowid).where(matched)
    held = text("pullbook_trigrams(found_by) @@ CAST(:threes AS tsquery)").bindparams(threes=threes.tsquery)
    return select(own_id).where(held)
