"""Accepting the shop's terms: which text is in force, and which one was accepted."""

from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from pullbook.db.arrival import WaiverText
from pullbook.errors import Clash, FieldProblem, Invalid
from pullbook.shop.auditing import note


def waiver_in_force(session: Session) -> WaiverText:
    """The newest text; the first one came with the service, so there always is one."""
    return session.scalars(select(WaiverText).order_by(WaiverText.number.desc()).limit(1)).one()


def waiver_accepted(session: Session, version_id: str | None) -> str:
    """The id of the text that a name was put under: the one told, or else the one in force. Invalid for an unknown one.

    An older text than the one in force may be told: what somebody read is what they accepted.
    """
    if version_id is None:
        return waiver_in_force(session).id
    if session.execute(select(WaiverText.id).where(WaiverText.id == version_id)).one_or_none() is None:
        raise Invalid(
            f"There is no version {version_id} of the waiver.",
            FieldProblem("waiver_version_id", version_id, "the id of a version, or nothing for the one in force"),
        )
    return version_id


def write_waiver(session: Session, now: datetime, staff_id: str, body: str, replaces: int) -> WaiverText:
    """A new version, in force from here on; the old ones stay. Clash when somebody wrote one since `replaces`."""
    newest = _refuse_overtaken(session.execute(select(func.max(WaiverText.number))).scalar_one(), replaces)
    row = WaiverText(number=newest + 1, body=body, made_at=now, made_by=staff_id)
    session.add(row)
    session.flush()
    note(session, now, staff_id, "make", "waiver", row.id, None, {"number": row.number, "body": body})
    return row


def _refuse_overtaken(newest: int, replaces: int) -> int:
    if replaces != newest:
        raise Clash(
            f"Version {newest} is in force by now; it was written meanwhile. Nothing of yours was kept.",
            FieldProblem("replaces", replaces, f"{newest}, once you have read it"),
        )
    return newest
