"""Calibrations: what a cell's constants are from a date on. Never edited: a newer one supersedes from its date."""

from collections.abc import Iterable
from typing import Annotated, Any

from fastapi import Response
from pydantic import Field
from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.api.cells import CellId
from pullbook.api.cells import one as one_cell
from pullbook.api.editing import record_making
from pullbook.api.listing import Cursor, Limit, page
from pullbook.api.shaping import Answer, Asked, Id, Instant, Words
from pullbook.db.joined import CalibrationBasis
from pullbook.db.tables import Calibration, Staff
from pullbook.deps import Now, Owner, ReadSession, SignedIn, WriteSession
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.shop.calibrating import refuse_foreign_evidence
from pullbook.shop.chaining import enter
from pullbook.shop.evidencing import evidence_of

router = LateRouter(prefix="/api/v1/cells", tags=["calibrations"])

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
    evidence_ids: Annotated[
        list[Id], Field(default_factory=list, max_length=60, description="What it was made from, of this very cell.")
    ]


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
    evidence_ids: list[str]
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


def _bases(session: Session, ids: Iterable[str]) -> dict[str, list[str]]:
    """Which evidence each calibration was made from."""
    made_from: dict[str, list[str]] = {}
    asked = select(CalibrationBasis).where(CalibrationBasis.calibration_id.in_(list(ids)))
    for row in session.scalars(asked.order_by(CalibrationBasis.evidence_id)):
        made_from.setdefault(row.calibration_id, []).append(row.evidence_id)
    return made_from


@router.post("/{cell_id}/calibrations", status_code=201, summary="Calibrate a cell", response_model=CalibrationAnswer)
def add(cell_id: CellId, asked: NewCalibration, person: Owner, session: WriteSession, now: Now) -> Response:
    """Supersedes the one before it from `valid_from` on; pulls taken since then are read with it."""
    one_cell(session, cell_id)
    evidence_ids = list(dict.fromkeys(asked.evidence_ids))
    refuse_foreign_evidence({facts.id: facts for facts in evidence_of(session, cell_id)}, evidence_ids)
    constants = asked.model_dump(exclude={"evidence_ids"})
    row = Calibration(cell_id=cell_id, **constants, made_at=now, made_by=person.id)
    session.add(row)
    session.flush()
    session.add_all(CalibrationBasis(calibration_id=row.id, evidence_id=one) for one in evidence_ids)
    record_making(session, now, person.id, row, {"cell_id": cell_id, **asked.model_dump()}, "calibration")
    enter(session, now, "calibration", row.id)
    kept = session.execute(SELECTED.where(Calibration.id == row.id)).mappings().one()
    in_force = _in_force(session, cell_id, now) == row.id
    return Json({**kept, "evidence_ids": sorted(evidence_ids), "in_force": in_force}, 201)


@router.get("/{cell_id}/calibrations", summary="A cell's calibrations", response_model=CalibrationList)
def several(
    cell_id: CellId, person: SignedIn, session: ReadSession, now: Now, cursor: Cursor = None, limit: Limit = 50
) -> Response:
    """By the date they hold from, latest first; among equal dates the one made last is in force."""
    one_cell(session, cell_id)
    in_force = _in_force(session, cell_id, now)
    order = [Calibration.valid_from, Calibration.id]
    rows, following = page(session, SELECTED.where(Calibration.cell_id == cell_id), order, cursor, limit)
    basis = _bases(session, [row.id for row in rows])
    items = [{**row._mapping, "evidence_ids": basis.get(row.id, []), "in_force": row.id == in_force} for row in rows]
    return Json({"items": items, "next": following})
