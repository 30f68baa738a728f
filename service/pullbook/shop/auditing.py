"""The audit trail: who did what to which record, each entry hashed over the one before it."""

import hashlib
import secrets
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from typing import Any, cast

import orjson
from sqlalchemy import Table, bindparam, event, func, insert, select
from sqlalchemy.orm import Session

from pullbook.db.evidence import AuditDetail, AuditEntry
from pullbook.db.tables import Counter
from pullbook.db.upserting import counting_on
from pullbook.late_methods import dataclass

FIRST_PREVIOUS = "0" * 64
_WAITING = "audit_notes"
_COUNTER = "audit_entry"
# built once, and of bare tables: every change to any record runs these
_ENTRY, _DETAIL = cast("Table", AuditEntry.__table__), cast("Table", AuditDetail.__table__)
_HASH_OF = select(_ENTRY.c.hash).where(_ENTRY.c.number == bindparam("number"))


@dataclass(frozen=True)
class Note:
    """One thing done, waiting for its number."""

    at: datetime
    staff_id: str | None
    action: str
    record: str
    record_id: str
    before: dict[str, Any] | None
    after: dict[str, Any] | None


def note(
    session: Session,
    now: datetime,
    staff_id: str | None,
    action: str,
    record: str,
    record_id: str,
    before: dict[str, Any] | None = None,
    after: dict[str, Any] | None = None,
) -> None:
    """Enter it in the trail, in this transaction.

    The entries are written as the transaction closes: the chain is one queue for the whole shop, and taking it last
    holds it shortest and always in the same order.
    """
    waiting = session.info.setdefault(_WAITING, [])
    if not waiting:
        event.listen(session, "before_commit", write_waiting, once=True)
    waiting.append(Note(now, staff_id, action, record, str(record_id), before, after))


def write_waiting(session: Session) -> None:
    """Write what waits; done by itself as the transaction closes."""
    waiting: list[Note] = session.info.pop(_WAITING, [])
    if not waiting:
        return
    session.flush()
    before = _take_numbers(session, len(waiting)) - len(waiting)
    previous = FIRST_PREVIOUS
    if before:
        previous = session.execute(_HASH_OF, {"number": before}).scalar_one()
    entries, details = [], []
    for number, waited in enumerate(waiting, before + 1):
        salt = secrets.token_hex(16)
        entry = _entry(waited, number, detail_digest(salt, waited.before, waited.after), previous)
        previous = entry["hash"]
        entries.append(entry)
        details.append({"number": number, "salt": salt, "before": waited.before, "after": waited.after})
    session.execute(insert(_ENTRY), entries)
    session.execute(insert(_DETAIL), details)


def _take_numbers(session: Session, count: int) -> int:
    """Take the next numbers; the counter's row stays locked until the transaction ends, so there are no gaps."""
    statement = counting_on(session, Counter.__table__)
    number: int = session.execute(statement, {"name": _COUNTER, "last": count}).scalar_one()
    return number


def _entry(waited: Note, number: int, digest: str, previous: str) -> dict[str, Any]:
    entry = {
        "number": number,
        "at": waited.at,
        "staff_id": waited.staff_id,
        "action": waited.action,
        "record": waited.record,
        "record_id": waited.record_id,
        "detail_digest": digest,
        "previous_hash": previous,
    }
    return {**entry, "hash": entry_hash(entry)}


def detail_digest(salt: str, before: dict[str, Any] | None, after: dict[str, Any] | None) -> str:
    """SHA-256 of the salted before and after, so that they can be erased and the chain still verifies."""
    told = orjson.dumps({"salt": salt, "before": before, "after": after}, option=orjson.OPT_SORT_KEYS)
    return hashlib.sha256(told).hexdigest()


def entry_hash(entry: Mapping[str, Any]) -> str:
    """SHA-256 over everything the entry says and the hash of the one before it."""
    told = [
        entry["number"],
        entry["at"].astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ"),
        *(entry[name] for name in ("staff_id", "action", "record", "record_id", "detail_digest", "previous_hash")),
    ]
    return hashlib.sha256(orjson.dumps(told)).hexdigest()


def first_broken_entry(session: Session) -> int | None:
    """The number of the first entry that does not follow from the one before it; None when the chain holds.

    A detail that was erased is no break; one that was altered is.
    """
    previous, expected = FIRST_PREVIOUS, 0
    detail = AuditDetail.__table__
    statement = select(AuditEntry.__table__, detail.c.salt, detail.c.before, detail.c.after)
    statement = statement.outerjoin(detail, detail.c.number == AuditEntry.number).order_by(AuditEntry.number)
    for row in session.execute(statement).mappings():
        entry = {str(name): value for name, value in row.items()}
        expected += 1
        if entry["number"] != expected or entry["previous_hash"] != previous or entry["hash"] != entry_hash(entry):
            return expected
        kept = entry["salt"] is None or detail_digest(entry["salt"], entry["before"], entry["after"])
        if kept not in (True, entry["detail_digest"]):
            return expected
        previous = entry["hash"]
    counted = session.execute(select(Counter.last).where(Counter.name == _COUNTER)).scalar()
    return None if (counted or 0) == expected else expected + 1


def last_of_trail(session: Session) -> tuple[int, str]:
    """Where the trail stands: how many entries it has, and the hash of the last."""
    asked = select(_ENTRY.c.number, _ENTRY.c.hash).order_by(_ENTRY.c.number.desc()).limit(1)
    row = session.execute(asked).one_or_none()
    return (row.number, row.hash) if row is not None else (0, FIRST_PREVIOUS)


def hashes_at(session: Session, numbers: Iterable[int]) -> dict[int, str]:
    """The hashes of those of these entries that there are; that before the first is always the same."""
    found = {0: FIRST_PREVIOUS}
    for number in set(numbers):
        for told in session.execute(_HASH_OF, {"number": number}).scalars():
            found[number] = told
    return found


def how_many(session: Session) -> int:
    """How many entries the trail has."""
    return session.execute(select(func.count()).select_from(AuditEntry)).scalar_one()
