"""Outlines of pulls: what a list shows of each, in two statements for a whole page."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import bindparam, exists, select
from sqlalchemy.orm import Session

from pullbook.db.evidence import Pull
from pullbook.db.found import FoundDue, FoundFlag, FoundPull
from pullbook.db.tables import Cell, Customer, Setup, Ticket, Vehicle
from pullbook.late_methods import dataclass

TO_WATTS, TO_NEWTON_METRES = 1000.0, 1.0  # how far a figure that only finds is rounded


@dataclass(frozen=True, slots=True)
class Outline:
    """One pull as a list shows it. The figures are of its last reading and rounded: they find it, its page reads it."""

    pull_id: str
    taken_at: datetime
    kind: str
    state: str
    set_aside_reason: str | None
    notes: str
    ticket_id: str
    ticket_number: int
    customer_name: str
    make: str
    model: str
    model_year: int | None
    plate: str
    engine: str
    setup_id: str
    setup_name: str
    setup_position: int
    changed: str
    cell_name: str
    about_power_w: float | None
    about_torque_nm: float | None
    standard: str
    is_due: bool  # its figures are to be read again
    flags: tuple[str, ...] = ()


# built once: putting such statements together costs more than running them
_IDS: Any = bindparam("ids", expanding=True)
_DUE = exists().where(FoundDue.pull_id == FoundPull.pull_id)
_OUTLINES = (
    select(
        FoundPull.pull_id,
        FoundPull.taken_at,
        FoundPull.kind,
        Pull.state,
        Pull.set_aside_reason,
        Pull.notes,
        Ticket.id.label("ticket_id"),
        Ticket.number.label("ticket_number"),
        Customer.full_name.label("customer_name"),
        Vehicle.make,
        Vehicle.model,
        Vehicle.model_year,
        Vehicle.plate,
        Vehicle.engine,
        Setup.id.label("setup_id"),
        Setup.name.label("setup_name"),
        Setup.position.label("setup_position"),
        Setup.changed,
        Cell.name.label("cell_name"),
        FoundPull.power_w.label("about_power_w"),
        FoundPull.torque_nm.label("about_torque_nm"),
        FoundPull.standard,
        _DUE.label("is_due"),
    )
    .join(Pull, Pull.id == FoundPull.pull_id)
    .join(Ticket, Ticket.id == Pull.ticket_id)
    .join(Customer, Customer.id == Ticket.customer_id)
    .join(Vehicle, Vehicle.id == Ticket.vehicle_id)
    .join(Setup, Setup.id == Pull.setup_id)
    .join(Cell, Cell.id == Pull.cell_id)
    .where(FoundPull.pull_id.in_(_IDS))
)
_FLAGS = select(FoundFlag.pull_id, FoundFlag.code).where(FoundFlag.pull_id.in_(_IDS)).order_by(FoundFlag.code)


def outlines(session: Session, pull_ids: Sequence[str]) -> list[Outline]:
    """These pulls in the order asked for; those that are not on record are left out."""
    if not pull_ids:
        return []
    told_ids = {"ids": list(pull_ids)}
    rows = session.connection().execute(_OUTLINES, told_ids)
    flags: dict[str, list[str]] = {}
    for pull_id, code in session.connection().execute(_FLAGS, told_ids):
        flags.setdefault(pull_id, []).append(code)
    known = {}
    for row in rows:
        told = {**row._mapping, "is_due": bool(row.is_due)}
        told["about_power_w"] = _rounded(row.about_power_w, TO_WATTS)
        told["about_torque_nm"] = _rounded(row.about_torque_nm, TO_NEWTON_METRES)
        known[row.pull_id] = Outline(**told, flags=tuple(flags.get(row.pull_id, ())))
    return [known[pull_id] for pull_id in pull_ids if pull_id in known]


def _rounded(value: float | None, step: float) -> float | None:
    return None if value is None else round(value / step) * step
