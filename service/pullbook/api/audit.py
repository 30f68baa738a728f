"""Audit: who did what to which record. The owner reads it; nobody edits it."""

from typing import Annotated, Any

from fastapi import Query, Response
from sqlalchemy import select

from pullbook.api.listing import Limit
from pullbook.api.shaping import Answer, Instant, Word
from pullbook.db.evidence import AuditDetail, AuditEntry
from pullbook.db.tables import Staff
from pullbook.deps import Owner, ReadSession
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter

router = LateRouter(prefix="/api/v1/audit", tags=["audit"])


class EntryAnswer(Answer):
    """One entry; `hash` is over everything it says and over the entry before it."""

    number: int
    at: Instant
    staff_id: str | None
    staff_name: str | None
    action: str
    record: str
    record_id: str
    before: dict[str, Any] | None
    after: dict[str, Any] | None
    previous_hash: str
    hash: str


class EntryList(Answer):
    """A page of entries, newest first; `next` is the number to send as `cursor`."""

    items: list[EntryAnswer]
    next: str | None


@router.get("", summary="The audit trail", response_model=EntryList)
def several(
    person: Owner,
    session: ReadSession,
    record: Annotated[Word | None, Query(description="Only about this kind of record.")] = None,
    record_id: Annotated[Word | None, Query(description="Only about this record.")] = None,
    staff_id: Annotated[str | None, Query(max_length=60, description="Only by this person.")] = None,
    cursor: Annotated[int | None, Query(ge=1, le=2**53, description="`next` of the page before.")] = None,
    limit: Limit = 50,
) -> Response:
    """Newest first, a page at a time."""
    statement = (
        select(
            *(getattr(AuditEntry, name) for name in EntryAnswer.model_fields if hasattr(AuditEntry, name)),
            Staff.full_name.label("staff_name"),
            AuditDetail.before,
            AuditDetail.after,
        )
        .outerjoin(Staff, Staff.id == AuditEntry.staff_id)
        .outerjoin(AuditDetail, AuditDetail.number == AuditEntry.number)
    )
    asked = {AuditEntry.record: record, AuditEntry.record_id: record_id, AuditEntry.staff_id: staff_id}
    statement = statement.where(*(column == value for column, value in asked.items() if value is not None))
    if cursor is not None:
        statement = statement.where(AuditEntry.number < cursor)
    rows = session.execute(statement.order_by(AuditEntry.number.desc()).limit(limit + 1)).all()
    following = str(rows[limit - 1].number) if len(rows) > limit else None
    return Json({"items": [dict(row._mapping) for row in rows[:limit]], "next": following})
