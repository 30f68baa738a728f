"""Chaining: every record that is kept as it was written gets an entry, hashed over the one before it, without gaps."""

import secrets
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any, cast

from sqlalchemy import Table, bindparam, delete, event, insert, select
from sqlalchemy.orm import Session

from pullbook.db.chain import ChainEntry, ChainSalt
from pullbook.db.evidence import RawFile
from pullbook.db.tables import Counter
from pullbook.db.upserting import counting_on
from pullbook.late_methods import dataclass
from pullbook.shop.auditing import write_waiting
from pullbook.shop.sealing import FIRST_PREVIOUS, KINDS, entry_of, head_of, row_digest, words_digest

COUNTER = "chain_entry"
_WAITING, _ENTERED = "chain_entries", "chain_was_entered"
_ENTRY, _SALT, _FILE = (cast("Table", kind.__table__) for kind in (ChainEntry, ChainSalt, RawFile))
_HEAD_AT = select(_ENTRY.c.head).where(_ENTRY.c.number == bindparam("number"))


@dataclass(frozen=True, slots=True)
class Waiting:
    """A record that waits for its number."""

    kind: str
    record_id: str
    now: datetime


def _select(kind: str) -> Any:
    sealed = KINDS[kind]
    names = dict.fromkeys((sealed.at, *sealed.columns, *sealed.words))
    columns = [sealed.table.c[sealed.key].label("id"), *(sealed.table.c[name] for name in names)]
    if not sealed.file:
        return select(*columns)
    size = _FILE.c.size_bytes.label("size_bytes")
    return select(*columns, size).outerjoin(_FILE, _FILE.c.sha256 == sealed.table.c.sha256)


_ROWS = {kind: _select(kind) for kind in KINDS}
_ROW = {kind: _ROWS[kind].where(sealed.table.c[sealed.key] == bindparam("record_id")) for kind, sealed in KINDS.items()}


def enter(session: Session, now: datetime, kind: str, record_id: str) -> None:
    """Give a record that was just written its entry, in this transaction.

    The entries are made as the transaction closes, of what then stands in the database, and after the audit trail's:
    both are queues for the whole shop, always taken last and in the same order.
    """
    waiting = session.info.setdefault(_WAITING, [])
    if not waiting:
        event.listen(session, "before_commit", _write_all, once=True)
    waiting.append(Waiting(kind, record_id, now))


def _write_all(session: Session) -> None:
    waiting: list[Waiting] = session.info.pop(_WAITING, [])
    if not waiting:
        return
    write_waiting(session)
    session.flush()
    before = take_numbers(session, 0)  # the counter's row is ours from here on
    if before == 0:
        waiting = [*_there_before(session, waiting), *waiting]
    _write(session, before, [(one, _one_row(session, one)) for one in waiting])
    session.info[_ENTERED] = True


def was_entered(session: Session) -> bool:
    """Whether this session wrote any entries since it was last asked."""
    return bool(session.info.pop(_ENTERED, False))


def _one_row(session: Session, one: Waiting) -> dict[str, Any]:
    row = session.execute(_ROW[one.kind], {"record_id": one.record_id}).mappings().one()
    return with_beside(session, one.kind, row)


def with_beside(session: Session, kind: str, row: Mapping[Any, Any]) -> dict[str, Any]:
    """A record's row, and what lies in another table and never changes either."""
    beside = KINDS[kind].beside
    told = {str(name): value for name, value in row.items()}
    return told if beside is None else {**told, "beside": beside(session, told["id"])}


def rows_of(session: Session, kind: str) -> Iterator[dict[str, Any]]:
    """Every record of a kind as it stands now."""
    for row in session.execute(_ROWS[kind].order_by(KINDS[kind].table.c[KINDS[kind].key])).mappings():
        yield with_beside(session, kind, row)


def _there_before(session: Session, waiting: Sequence[Waiting]) -> list[Waiting]:
    """What was on record before the chain began, in the order in which it came."""
    new = {(one.kind, one.record_id) for one in waiting}
    now, found = waiting[0].now, []
    for place, (kind, sealed) in enumerate(KINDS.items()):
        for record_id, at in session.execute(select(sealed.table.c[sealed.key], sealed.table.c[sealed.at])):
            if (kind, record_id) not in new:
                found.append((at, place, record_id, Waiting(kind, record_id, now)))
    return [one for _, _, _, one in sorted(found, key=lambda four: four[:3])]


def _write(session: Session, before: int, found: Sequence[tuple[Waiting, dict[str, Any]]]) -> None:
    previous = FIRST_PREVIOUS if before == 0 else session.execute(_HEAD_AT, {"number": before}).scalar_one()
    entries, salts = [], []
    for number, (one, row) in enumerate(found, before + 1):
        sealed, salt = KINDS[one.kind], secrets.token_hex(16)
        words = words_digest(one.kind, row, salt)
        entry = {
            "number": number,
            "kind": one.kind,
            "record_id": one.record_id,
            "at": row[sealed.at],
            "entered_at": one.now,
            "staff_id": row[sealed.by] if sealed.by else None,
            "device_id": row[sealed.device] if sealed.device else None,
            "sha256": row["sha256"] if sealed.file else None,
            "size_bytes": row["size_bytes"] if sealed.file else None,
            "row_digest": row_digest(one.kind, row),
            "words_digest": words,
            "previous": previous,
        }
        previous = entry["head"] = head_of(entry_of(entry))
        entries.append(entry)
        if words is not None:
            salts.append({"number": number, "salt": salt})
    session.execute(insert(_ENTRY), entries)
    if salts:
        session.execute(insert(_SALT), salts)
    take_numbers(session, len(entries))


def forget_words(session: Session, kind: str, record_ids: Sequence[str]) -> None:
    """Drop the salts of what these records say in words, so that a person can be erased from them: nothing can be
    guessed from the digests any more, and the chain holds as before."""
    numbers = select(_ENTRY.c.number).where(_ENTRY.c.kind == kind, _ENTRY.c.record_id.in_(list(record_ids)))
    session.execute(delete(_SALT).where(_SALT.c.number.in_(numbers)))


def take_numbers(session: Session, count: int) -> int:
    """Count on; gives the last number. Its row stays locked until the transaction ends, so there are no gaps."""
    statement = counting_on(session, Counter.__table__)
    number: int = session.execute(statement, {"name": COUNTER, "last": count}).scalar_one()
    return number
