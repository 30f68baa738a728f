"""Vouching: the signed heads of the days, and the keys behind them, held against the chain and the audit trail."""

from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.db.chain import ChainKey, SignedHead
from pullbook.shop.attesting import is_signed_by, key_id_of, text_of_head
from pullbook.shop.auditing import hashes_at, last_of_trail
from pullbook.shop.verifying import CLOCK_SLACK, Finding, Seen

FURTHEST_CLOCKS_H = (-12, 14)  # how far from UTC any clock on land is set


def look_at_trail(session: Session, seen: Seen, numbers: Iterable[int]) -> None:
    """Where the audit trail stands, and its hashes at these entries and at those that signed heads are of."""
    signed = session.scalars(select(SignedHead.trail_entries).where(SignedHead.trail_entries.is_not(None)))
    seen.trail_last = last_of_trail(session)[0]
    seen.trail = hashes_at(session, {*numbers, *(one for one in signed if one is not None)})


def trail_fault(trail: tuple[int, str] | None, seen: Seen, says: str) -> str:
    """What the audit trail is not that was signed; empty where all is, and where nothing was."""
    if trail is None or seen.trail.get(trail[0]) == trail[1]:
        return ""
    number = trail[0]
    if number > seen.trail_last:
        return (
            f"{says} {number} entries of the audit trail, and that ends at {seen.trail_last}: "
            f"audit entries {seen.trail_last + 1} to {number} are cut off"
        )
    return f"{says} audit entry {number}, and that is another: it or one before it was written anew"


def keys(session: Session, seen: Seen, in_file: str | None) -> Iterator[Finding]:
    """The public keys, and that the file holds the one that the chain names last. `in_file`: its id; None for none."""
    entered = _keys_entered(seen)
    for row in session.execute(select(ChainKey.__table__).order_by(ChainKey.made_at, ChainKey.id)):
        entry = seen.by_record.get(("key", row.id), {}).get("number")
        if key_id_of(row.public_key) != row.id:
            yield Finding(None, "key", row.id, "this is not the id of that public key")
        if entered and entry is not None and entry != entered[0][0] and row.reason in ("", _BY_ITSELF):
            what = f"it took the place of key {_in_force(entered, entry - 1)}, and nobody said why"
            yield Finding(entry, "key", row.id, what)
    if entered and in_file is not None and in_file != entered[-1][1]:
        number, known = entered[-1]
        what = f"the file holds this key, and not {known}, which entry {number} names as the shop's: it was swapped"
        yield Finding(None, "key", in_file, what)


_BY_ITSELF = "another key was put in its file"  # as versions before this one took in whatever lay there


def _keys_entered(seen: Seen) -> list[tuple[int, str]]:
    return sorted((row["number"], record_id) for (kind, record_id), row in seen.by_record.items() if kind == "key")


def _in_force(entered: list[tuple[int, str]], number: int) -> str | None:
    """The key that the chain names as the shop's after so many entries."""
    return next((key for at, key in reversed(entered) if at <= number), None)


def heads(session: Session, seen: Seen, now: datetime) -> Iterator[Finding]:
    """Each day's signed head: its signature, its key, its time, the entry it is of, and where the trail then stood."""
    entered_at = {row["number"]: row["entered_at"] for row in seen.by_record.values()}
    public = {row.id: row.public_key for row in session.execute(select(ChainKey.__table__))}
    entered = _keys_entered(seen)
    for row in session.execute(select(SignedHead.__table__).order_by(SignedHead.day)):
        in_force = _in_force(entered, row.entries)
        if not is_signed_by(public.get(row.key_id, ""), text_of_head(row), row.signature):
            yield Finding(row.entries, "signed head", row.day, f"the signature is not key {row.key_id}'s over it")
        elif row.entries > seen.last:
            what = f"it signs {row.entries} entries and the chain ends at {seen.last}: the rest is cut off"
            yield Finding(seen.last + 1, "signed head", row.day, what)
        elif seen.heads.get(row.entries) != row.head:
            what = f"entry {row.entries} is not the one that was signed: it or one before it was written anew"
            yield Finding(row.entries, "signed head", row.day, what)
        elif in_force is not None and row.key_id != in_force:
            what = f"it is signed by key {row.key_id}, and the shop's was {in_force} by then"
            yield Finding(row.entries, "signed head", row.day, what)
        elif what := trail_fault(_trail_of(row), seen, "it signs") or _wrong_time(row, entered_at, now):
            yield Finding(row.entries, "signed head", row.day, what)
        else:
            seen.signed_to = max(seen.signed_to, row.entries)


def _trail_of(row: Any) -> tuple[int, str] | None:
    return None if row.trail_hash is None else (row.trail_entries, row.trail_hash)


def _wrong_time(row: Any, entered_at: dict[int, datetime], now: datetime) -> str:
    """What is wrong with when a head says it was signed; empty where nothing is."""
    at, entered = f"{row.signed_at:%Y-%m-%d %H:%M:%S} UTC", entered_at.get(row.entries)
    if row.signed_at > now + CLOCK_SLACK:
        return f"it says that it was signed at {at}, which is still to come"
    if entered is not None and row.signed_at < entered - CLOCK_SLACK:
        return f"it says that it was signed at {at}, before entry {row.entries} was entered"
    days = {(row.signed_at + timedelta(hours=hours)).date().isoformat() for hours in FURTHEST_CLOCKS_H}
    if not min(days) <= row.day <= max(days):
        return f"it was signed at {at}, which is another day wherever the shop is"
    return ""
