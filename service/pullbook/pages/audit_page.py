"""The audit trail as the owner reads it: who did what to which record, what it was before and what it is since."""

from collections.abc import Mapping
from datetime import datetime
from typing import Annotated, Any, ClassVar

from fastapi import Query, Request
from sqlalchemy import select
from sqlalchemy.orm import Session
from starlette.responses import Response

from pullbook.db.evidence import AuditDetail, AuditEntry
from pullbook.db.people import Staff
from pullbook.deps import Owner, ReadSession
from pullbook.late_methods import dataclass
from pullbook.late_routes import LateRouter
from pullbook.pages.render import around_person, draw
from pullbook.pages.told import Shown, told
from pullbook.shop.auditing import first_broken_entry

router = LateRouter(include_in_schema=False)

ENTRIES_SHOWN = 60
LONGEST_TOLD = 160
# where a record has a page of its own
PAGES = {"ticket": "/tickets/", "pull": "/pulls/", "cell": "/cells/"}


@dataclass(frozen=True)
class FieldChange:
    """One field: what it was, what it is since; empty where there was nothing."""

    field: str
    before: str
    after: str


@dataclass(frozen=True)
class AuditLine:
    """One entry. `page`: where the record is shown; empty where it has no page."""

    number: int
    at: datetime
    staff_id: str | None
    staff_name: str
    action: str
    record: str
    record_id: str
    page: str
    changes: tuple[FieldChange, ...]
    hash: str


@dataclass(frozen=True)
class AuditPage(Shown):
    """A page of the trail."""

    template: ClassVar[str] = "owner/audit.html"
    lines: tuple[AuditLine, ...] = told("Entries, newest first.")
    record: str = told("Only this kind of record; empty for all.")
    record_id: str = told("Only this record; empty for all.")
    staff_id: str = told("Only by this person; empty for everybody.")
    kinds: tuple[str, ...] = told("Kinds of record to choose from.")
    people: tuple[tuple[str, str], ...] = told("People to choose from: id and name.")
    older: int | None = told("The entry to go on from; none where this is the end.")
    checked: str = told("What walking the whole chain found, in words; empty where it was not walked.")


Text = Annotated[str, Query(max_length=60)]


@router.get("/audit")
def audit(
    request: Request,
    session: ReadSession,
    person: Owner,
    record: Text = "",
    record_id: Text = "",
    staff_id: Text = "",
    cursor: Annotated[int | None, Query(ge=1, le=2**53)] = None,
    check: bool = False,
) -> Response:
    """Who did what to which record, newest first; the whole chain is walked when asked."""
    asked = {AuditEntry.record: record, AuditEntry.record_id: record_id, AuditEntry.staff_id: staff_id}
    statement = (
        select(AuditEntry, Staff.full_name, AuditDetail.before, AuditDetail.after)
        .outerjoin(Staff, Staff.id == AuditEntry.staff_id)
        .outerjoin(AuditDetail, AuditDetail.number == AuditEntry.number)
        .where(*(column == value for column, value in asked.items() if value))
        .order_by(AuditEntry.number.desc())
        .limit(ENTRIES_SHOWN + 1)
    )
    if cursor is not None:
        statement = statement.where(AuditEntry.number < cursor)
    rows = session.execute(statement).all()
    lines = tuple(_line(entry, name, before, after) for entry, name, before, after in rows[:ENTRIES_SHOWN])
    page = AuditPage(
        lines=lines,
        record=record,
        record_id=record_id,
        staff_id=staff_id,
        kinds=tuple(session.scalars(select(AuditEntry.record).distinct().order_by(AuditEntry.record))),
        people=tuple((row.id, row.full_name) for row in session.scalars(select(Staff).order_by(Staff.full_name))),
        older=lines[-1].number if len(rows) > ENTRIES_SHOWN else None,
        checked=_checked(session) if check else "",
    )
    return draw(around_person(request, session, person, "audit"), page)


def _checked(session: Session) -> str:
    broken = first_broken_entry(session)
    if broken is None:
        return "The whole chain was walked: each entry follows from the one before it."
    return f"The chain breaks at entry {broken}: it does not follow from the one before it. Keep this machine as it is."


def _line(entry: AuditEntry, name: str | None, before: Any, after: Any) -> AuditLine:
    place = PAGES.get(entry.record)
    return AuditLine(
        number=entry.number,
        at=entry.at,
        staff_id=entry.staff_id,
        staff_name=name or "the command line",
        action=entry.action,
        record=entry.record,
        record_id=entry.record_id,
        page=f"{place}{entry.record_id}" if place else "",
        changes=_changes(before or {}, after or {}),
        hash=entry.hash,
    )


def _changes(before: Mapping[str, Any], after: Mapping[str, Any]) -> tuple[FieldChange, ...]:
    fields = dict.fromkeys((*before, *after))
    return tuple(FieldChange(name, _words(before.get(name)), _words(after.get(name))) for name in fields)


def _words(value: Any) -> str:
    text = "" if value is None else str(value)
    return text if len(text) <= LONGEST_TOLD else text[:LONGEST_TOLD] + "…"
