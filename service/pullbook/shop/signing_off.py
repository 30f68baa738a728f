"""Signing off the safety checklist: for one car, in one cell, on one day of the shop's own calendar.

A signing covers the pulls that are taken after it, on the same day by the shop's clock, in the same cell, on the same
ticket. It never covers what was taken before it. A pull that none covers is filed all the same and says so.
"""

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session, aliased

from pullbook.db.arrival import SafetyChecklist, SafetySigning
from pullbook.db.tables import Cell, Shop, Ticket
from pullbook.errors import Clash, FieldProblem, Invalid, NotFound
from pullbook.late_methods import dataclass
from pullbook.shop.auditing import note
from pullbook.shop.weather_matching import refuse_future

SHOP_ZONE = select(Shop.time_zone).limit(1).scalar_subquery()


@dataclass(frozen=True, slots=True)
class PointSigned:
    """One point of the list: done, or why not."""

    done: bool
    note: str


@dataclass(frozen=True, slots=True)
class SigningWanted:
    """What is signed. `paper_at`: it was signed on paper then, and is written up now."""

    cell_id: str
    checklist_id: str
    points: Sequence[PointSigned]
    note: str = ""
    device_at: datetime | None = None
    paper_at: datetime | None = None


def last_signed(ticket_id: Any, cell_id: Any, at: Any) -> Any:
    """The time of the newest signing of a ticket in a cell not after `at`, as a subquery on these columns."""
    one = aliased(SafetySigning)
    here = or_(one.cell_id == cell_id, one.cell_id.is_(None))
    return (
        select(func.max(one.signed_at)).where(one.ticket_id == ticket_id, here, one.signed_at <= at).scalar_subquery()
    )


def covers(signed_at: datetime | None, taken_at: datetime, time_zone: str | None) -> bool:
    """Whether a signing at `signed_at` holds for what is done at `taken_at`: not before it, and the same day there."""
    if signed_at is None or signed_at > taken_at:
        return False
    zone = ZoneInfo(time_zone or "UTC")
    return signed_at.astimezone(zone).date() == taken_at.astimezone(zone).date()


def is_signed_for(session: Session, ticket_id: str, cell_id: str | None, at: datetime) -> bool:
    """Whether somebody signed for this ticket in this cell, earlier that day."""
    row = session.execute(select(last_signed(ticket_id, cell_id, at), SHOP_ZONE)).one()
    return covers(row[0], at, row[1])


def checklist_in_force(session: Session) -> SafetyChecklist:
    """The newest list; the first one came with the service, so there always is one."""
    return session.scalars(select(SafetyChecklist).order_by(SafetyChecklist.number.desc()).limit(1)).one()


def write_checklist(
    session: Session, now: datetime, staff_id: str, points: Sequence[str], replaces: int
) -> SafetyChecklist:
    """A new list, in force from here on; the old ones stay. Clash when somebody wrote one since `replaces`."""
    newest = session.execute(select(func.max(SafetyChecklist.number))).scalar_one()
    if replaces != newest:
        raise Clash(
            f"List {newest} is in force by now; somebody wrote it while you were writing. Nothing of yours was kept.",
            FieldProblem("replaces", replaces, f"{newest}, once you have read it"),
        )
    row = SafetyChecklist(number=newest + 1, points=list(points), made_at=now, made_by=staff_id)
    session.add(row)
    session.flush()
    after = {"number": row.number, "points": row.points}
    note(session, now, staff_id, "make", "safety_checklist", row.id, None, after)
    return row


def sign(session: Session, now: datetime, staff_id: str, ticket_id: str, wanted: SigningWanted) -> str:
    """Write the signing down; gives its id. NotFound, Invalid or Clash say in words what will not do."""
    _refuse_unfit(session, ticket_id, wanted, now)
    row = SafetySigning(
        ticket_id=ticket_id,
        cell_id=wanted.cell_id,
        checklist_id=wanted.checklist_id,
        points=[{"done": point.done, "note": point.note} for point in wanted.points],
        note=wanted.note,
        signed_at=wanted.paper_at or now,
        received_at=now,
        device_at=wanted.device_at,
        signed_by=staff_id,
    )
    session.add(row)
    session.flush()
    after = {"ticket_id": ticket_id, "cell_id": wanted.cell_id, "signed_at": row.signed_at.isoformat()}
    note(session, now, staff_id, "sign", "safety_signing", row.id, None, after)
    return row.id


def _refuse_unfit(session: Session, ticket_id: str, wanted: SigningWanted, now: datetime) -> None:
    state = session.execute(select(Ticket.state).where(Ticket.id == ticket_id)).scalar_one_or_none()
    if state is None:
        raise NotFound(f"There is no ticket {ticket_id}.")
    if state == "cancelled":
        raise Clash("This ticket is cancelled; book it again before signing for it.")
    if session.execute(select(Cell.id).where(Cell.id == wanted.cell_id)).one_or_none() is None:
        raise Invalid(
            f"There is no cell {wanted.cell_id}.",
            FieldProblem("cell_id", wanted.cell_id, "the id of the cell that the car stands in"),
        )
    listed = session.get(SafetyChecklist, wanted.checklist_id)
    if listed is None:
        raise Invalid(
            f"There is no checklist {wanted.checklist_id}.",
            FieldProblem("checklist_id", wanted.checklist_id, "the id of the list that was gone through"),
        )
    _refuse_gaps(listed, wanted)
    if wanted.paper_at is not None:
        refuse_future("paper_at", wanted.paper_at, now)
        return
    newest = checklist_in_force(session)
    if newest.id != listed.id:
        raise Clash(
            f"The list was changed: number {newest.number} holds now, you went through number {listed.number}. "
            "Load it again and go through what is new.",
            FieldProblem("checklist_id", wanted.checklist_id, newest.id),
        )


def _refuse_gaps(listed: SafetyChecklist, wanted: SigningWanted) -> None:
    """Every point is done, or a word says why not."""
    if len(wanted.points) != len(listed.points):
        raise Invalid(
            f"The list has {len(listed.points)} points; {len(wanted.points)} came.",
            FieldProblem("points", len(wanted.points), f"{len(listed.points)}, in the list's order"),
        )
    open_points = [
        FieldProblem(f"points.{place}", text, "tick it once it is done, or note why it does not apply")
        for place, (text, point) in enumerate(zip(listed.points, wanted.points, strict=True))
        if not point.done and not point.note
    ]
    if open_points:
        count = len(open_points)
        raise Invalid(f"{count} point{'' if count == 1 else 's'} neither ticked nor noted.", *open_points)


def missing_before_running(
    session: Session, waiver_name: str, ticket_id: str, cell_id: str | None, at: datetime
) -> list[str]:
    """What should be there before the car is run and is not, in words. It warns; it stops nobody."""
    missing = []
    if not waiver_name:
        missing.append("The customer has not accepted the shop’s terms.")
    if not is_signed_for(session, ticket_id, cell_id, at):
        missing.append("Nobody has signed the safety checklist for this car in this cell today.")
    return missing
