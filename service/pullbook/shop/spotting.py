"""Spotting customers, cars and tickets as somebody types: few of many from letters in threes, held against each word.

The indexes only narrow: which row is shown is decided by the same comparison with or without them. Where more than a
few could be meant nothing is narrowed, since walking back from the newest then soon fills the page.
"""

import json
from collections.abc import Sequence
from typing import Any

from sqlalchemy import (
    ARRAY,
    BigInteger,
    String,
    Text,
    and_,
    any_,
    bindparam,
    cast,
    column,
    func,
    literal_column,
    or_,
    select,
    table,
    text,
    type_coerce,
    union,
    union_all,
)
from sqlalchemy.orm import Session

from pullbook.db.tables import Customer, Ticket, Vehicle
from pullbook.shop.searching import holds, occurs, plain, spellings
from pullbook.shop.wording import LEAST, MOST_WORDS, Wanted

FEW = 2000
FEW_ALONE = 500  # of one word alone: the newest fifty tickets of more are as soon met one after the other
MANY = 5000  # customers or cars that are held against the other's words
MOST_PARTED = 3  # words that are parted between customer and car; the others are only compared
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
    # those that an index answers first, and of these the longest: they leave the least
    told = sorted(words[:MOST_WORDS], key=lambda word: (not _is_looked_up(word), -len(word)))[:MOST_PARTED]
    if told and _is_looked_up(told[0]):
        ids = _tickets_meant(session, told, FEW if len(told) > 1 else FEW_ALONE)
        return statement if ids is None else statement.where(_one_of(session, Ticket.id, ids))
    return _with_short(session, statement, told)


def _tickets_meant(session: Session, words: Sequence[str], most: int) -> list[int] | None:
    """Numbers of the tickets that may be meant; None where there are more than so many.

    Each word may stand in the customer's text or in the car's: every way to part the words between the two is looked up
    by itself, so that a make and a year leave the cars that have both and not those that have either.
    """
    kinds: list[tuple[Any, Any]] = [(Vehicle, Ticket.vehicle_id), (Customer, Ticket.customer_id)]
    sides = [(_known(session, kind, words), kind, key) for kind, key in kinds]
    own_id, all_words = type_coerce(Ticket.id, BigInteger), (1 << len(words)) - 1
    meant: list[Any] = [select(own_id).where(Ticket.number == number) for number in map(_number, words) if number]
    for of_car in range(all_words + 1):
        parts = list(zip(sides, (of_car, all_words ^ of_car), strict=True))
        found = [known.get(part) for (known, _, _), part in parts if part in known]
        if [] in found:
            continue
        if all(ids is None for ids in found):
            return None
        asked = [_stand_in(session, *side, part, words) for side, part in parts if part]
        meant.append(select(own_id).where(*(one for one in asked if one is not None)))
    # each once: one that is met in two ways must not take another's place below the limit
    ids = session.scalars(union(*meant).limit(most + 1)).all() if meant else []
    return sorted(ids) if len(ids) <= most else None


def _known(session: Session, kind: Any, words: Sequence[str]) -> dict[int, list[int] | None]:
    """By the bits of a choice of these words whose text holds it, None for many; nothing of short words alone."""
    chosen = {}
    for part in range(1, 1 << len(words)):
        theirs = [word for place, word in enumerate(words) if part >> place & 1]
        if any(map(_is_looked_up, theirs)):
            ids = _whose(session, kind, theirs).limit(MANY + 1).subquery()
            chosen[part] = select(literal_column(str(part)).label("part"), ids)
    known: dict[int, list[int] | None] = {part: [] for part in chosen}
    for part, own_id in session.execute(union_all(*chosen.values())):
        known[part].append(own_id)  # type: ignore[union-attr]
    return {part: ids if ids is None or len(ids) <= MANY else None for part, ids in known.items()}


def _stand_in(
    session: Session, known: dict[int, list[int] | None], kind: Any, key: Any, part: int, words: Sequence[str]
) -> Any:
    """That this choice of words stands in the text of the one this key names; None where only the end can tell."""
    if part in known:
        ids = known[part]
        return None if ids is None else _one_of(session, key, ids)
    # row by row: joined, every text there is would be read
    text_of = select(kind.found_by).where(kind.id == key).scalar_subquery()
    return and_(*(occurs(word, text_of) for place, word in enumerate(words) if part >> place & 1))


def _whose(session: Session, kind: Any, words: Sequence[str]) -> Any:
    """Ids of those in whose text these words stand: the long ones by the index, then each short one as it is read."""
    ids = _meant(session, kind, [word for word in words if _is_looked_up(word)])
    short = [occurs(word, kind.found_by) for word in words if not _is_looked_up(word)]
    if short and session.get_bind().dialect.name == "sqlite":
        ids = ids.join(kind, kind.id == ids.selected_columns[0])
    return ids.where(*short)


def _number(word: str) -> int | None:
    number = word.lstrip("#")
    return int(number) if number.isdecimal() and number.isascii() and len(number) < LONGEST_NUMBER else None


def _with_short(session: Session, statement: Any, words: Sequence[str]) -> Any:
    """The same for words that no index answers: from the rarest of them, where that is rare."""
    found = []
    for word in words:
        if (customers := _few(session, Customer, [word], FEW_ALONE)) is not None:
            vehicles = _few(session, Vehicle, [word], FEW_ALONE)
            found += [] if vehicles is None else [(len(customers) + len(vehicles), word, customers, vehicles)]
    if not found:
        return statement
    _, word, customers, vehicles = min(found)
    meant: list[Any] = [
        select(Ticket.id).where(_one_of(session, Ticket.customer_id, customers)),
        select(Ticket.id).where(_one_of(session, Ticket.vehicle_id, vehicles)),
        *([select(Ticket.id).where(Ticket.number == number)] if (number := _number(word)) is not None else []),
    ]
    near = union(*meant).cte("near").prefix_with("MATERIALIZED")
    return statement.where(Ticket.id.in_(select(near.c.id)))


def _narrowed(session: Session, statement: Any, kind: Any, find: str) -> Any:
    words = plain(find).split()[:MOST_WORDS]
    statement = statement.where(*holds(kind.found_by, find))
    if not any(map(_is_looked_up, words)):
        return statement
    ids = list(session.scalars(_whose(session, kind, words).limit(FEW + 1)))
    return statement if len(ids) > FEW else statement.where(_one_of(session, kind.id, ids))


def _one_of(session: Session, key: Any, ids: Sequence[int]) -> Any:
    """That a key is one of thousands: told as one value, since a value each would cost more than the look-up."""
    number = type_coerce(key, BigInteger)
    if session.get_bind().dialect.name == "sqlite":
        told = func.json_each(bindparam(None, json.dumps(ids), Text(), unique=True)).table_valued("value")
        return number.in_(select(told.c.value))
    return number == any_(bindparam(None, ids, ARRAY(BigInteger), unique=True))


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
        matched = text(f"{name} MATCH :threes").bindparams(bindparam("threes", threes.fts5, unique=True))
        return select(table(name, column("rowid", BigInteger)).c.rowid).where(matched)
    held = text(f"pullbook_trigrams({kind.__tablename__}.found_by) @@ CAST(:threes AS tsquery)")
    return select(own_id).where(held.bindparams(bindparam("threes", threes.tsquery, unique=True)))
