"""Calibrations: what a cell's constants are from a date on. Never edited: a newer one supersedes from its date."""

from typing import Annotated, Any

from fastapi import APIRouter, Response
from pydantic import Field
from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.api.cells import CellId
from pullbook.api.cells import one as one_cell
from pullbook.api.editing import record_making
from pullbook.api.listing import Cursor, Limit, page
from pullbook.api.shaping import Answer, Asked, Instant, Words
from pullbook.db.tables import Calibration, Staff
from pullbook.deps import Now, Owner, ReadSession, SignedIn, WriteSession
from pullbook.json_answers import Json

router = APIRouter(prefix="/api/v1/cells", tags=["calibrations"])

Spread = Annotated[float, Field(ge=0, le=1e6, description="Standard uncertainty (k = 1), in the unit of its constant.")]


class NewCalibration(Asked):
    """Constants and their standard uncertainties, why they are believed, and from when they hold."""

    valid_from: Instant
    inertia_kg_m2: Annotated[float, Field(gt=0, le=1e5, description="All that turns with the rollers.")]
    inertia_u_kg_m2: Spread
    roller_radius_m: Annotated[float, Field(gt=0, le=5)]
    roller_radius_u_m: Spread
    pulses_per_turn: Annotated[float, Field(gt=0, le=1e6)] | None = None
    loss_c0_nm: Annotated[float, Field(ge=-1e4, le=1e4)] = 0.0
    loss_c1_nm_s: Annotated[float, Field(ge=-1e3, le=1e3)] = 0.0
    loss_c2_nm_s2: Annotated[float, Field(ge=-1e2, le=1e2)] = 0.0
    loss_u_nm: Spread = 0.0
    brake_arm_m: Annotated[float, Field(gt=0, le=10)] | None = None
    brake_arm_u_m: Spread | None = None
    brake_scale: Annotated[float, Field(gt=0, le=1000)] = 1.0
    brake_scale_u: Spread = 0.0
    brake_zero_nm: Annotated[float, Field(ge=-1e4, le=1e4)] = 0.0
    reason: Words = ""
    evidence: Words = ""


class CalibrationAnswer(Answer):
    """A calibration on record. `in_force` says whether it is the one for pulls taken now."""

    id: str
    cell_id: str
    valid_from: Instant
    inertia_kg_m2: float
    inertia_u_kg_m2: float
    roller_radius_m: float
    roller_radius_u_m: float
    pulses_per_turn: float | None
    loss_c0_nm: float
    loss_c1_nm_s: float
    loss_c2_nm_s2: float
    loss_u_nm: float
    brake_arm_m: float | None
    brake_arm_u_m: float | None
    brake_scale: float
    brake_scale_u: float
    brake_zero_nm: float
    reason: str
    evidence: str
    made_at: Instant
    made_by_name: str
    in_force: bool


class CalibrationList(Answer):
    """A page of calibrations, the latest date first."""

    items: list[CalibrationAnswer]
    next: str | None


SELECTED = select(
    *(getattr(Calibration, name) for name in CalibrationAnswer.model_fields if hasattr(Calibration, name)),
    Staff.full_name.label("made_by_name"),
).join(Staff, Staff.id == Calibration.made_by)


def _in_force(session: Session, cell_id: str, at: Any) -> str | None:
    return session.execute(
        select(Calibration.id)
        .where(Calibration.cell_id == cell_id, Calibration.valid_from <= at)
        .order_by(Calibration.valid_from.desc(), Calibration.id.desc())
        .limit(1)
    ).scalar_one_or_none()


@router.post("/{cell_id}/calibrations", status_code=201, summary="Calibrate a cell", response_model=CalibrationAnswer)
def add(cell_id: CellId, asked: NewCalibration, person: Owner, session: WriteSession, now: Now) -> Response:
    """Supersedes the one before it from `valid_from` on; pulls taken since then are read with it."""
    one_cell(session, cell_id)
    row = Calibration(cell_id=cell_id, **asked.model_dump(), made_at=now, made_by=person.id)
    session.add(row)
    session.flush()
    record_making(session, now, person.id, row, {"cell_id": cell_id, **asked.model_dump()}, "calibration")
    kept = session.execute(SELECTED.where(Calibration.id == row.id)).mappings().one()
    return Json({**kept, "in_force": _in_force(session, cell_id, now) == row.id}, 201)


@router.get("/{cell_id}/calibrations", summary="A cell's calibrations", response_model=CalibrationList)
def several(
    cell_id: CellId, person: SignedIn, session: ReadSession, now: Now, cursor: Cursor = None, limit: Limit = 50
) -> Response:
    """By the date they hold from, latest first; among equal dates the one made last is in force."""
    one_cell(session, cell_id)
    in_force = _in_force(session, cell_id, now)
    order = [Calibration.valid_from, Calibration.id]
    rows, following = page(session, SELECTED.where(Calibration.cell_id == cell_id), order, cursor, limit)
    items = [{**row._mapping, "in_force": row.id == in_force} for row in rows]
    return Json({"items": items, "next": following})
