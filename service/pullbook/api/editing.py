"""Editing a record: only from the state it was last seen in, and never without a line in the audit trail."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy.orm import Session

from pullbook.errors import Clash, FieldProblem, NotFound
from pullbook.shop.auditing import note


def locked(session: Session, table: type[Any], identity: str, called: str) -> Any:
    """The row, held until this transaction ends; NotFound when there is none.

    Held against changes, not against being referred to: whoever holds a ticket may file what names this row.
    """
    row = session.get(table, identity, with_for_update={"key_share": True})
    if row is None:
        raise NotFound(f"There is no {called} {identity}.")
    return row


def refuse_stale(row: Any, version: int, changes: Mapping[str, Any], called: str) -> None:
    """Clash when somebody changed the row since it was read: says what each field is now."""
    if row.version == version:
        return
    problems = [FieldProblem("version", version, f"it is {row.version} now; read it again and send that")]
    for field, wanted in changes.items():
        present = getattr(row, field, None)
        if present != wanted:
            problems.append(FieldProblem(field, _plain(wanted), f"it is {_plain(present)!r} now"))
    raise Clash(f"This {called} was changed by somebody else meanwhile; nothing of yours was kept.", *problems)


def apply(
    session: Session, now: datetime, staff_id: str, row: Any, changes: Mapping[str, Any], called: str
) -> dict[str, Any]:
    """Set the fields that really differ, count the version up and note before and after. Gives what it was before."""
    before = {field: getattr(row, field) for field, wanted in changes.items() if getattr(row, field) != wanted}
    if not before:
        return {}
    for field in before:
        setattr(row, field, changes[field])
    row.version += 1
    record_change(session, now, staff_id, row, before, called)
    return before


def record_change(
    session: Session, now: datetime, staff_id: str, row: Any, before: Mapping[str, Any], called: str
) -> None:
    """A line in the audit trail about the fields in `before`, with what they are now."""
    after = {field: _plain(getattr(row, field)) for field in before}
    plain_before = {field: _plain(value) for field, value in before.items()}
    note(session, now, staff_id, "change", called, row.id, plain_before, after)


def record_making(
    session: Session, now: datetime, staff_id: str, row: Any, given: Mapping[str, Any], called: str
) -> None:
    """A line in the audit trail about a record that was just made."""
    note(session, now, staff_id, "make", called, row.id, None, {field: _plain(value) for field, value in given.items()})


def _plain(value: Any) -> Any:
    return value.isoformat() if isinstance(value, datetime) else value
