"""The owner's pages: cells and their calibrations."""

from datetime import datetime

from fastapi import Request
from sqlalchemy import select
from sqlalchemy.orm import Session
from starlette.responses import Response

from pullbook.db.tables import Calibration, Cell, Staff
from pullbook.deps import Now, Owner, ReadSession
from pullbook.late_routes import LateRouter
from pullbook.pages.owner_shown import CalibrationLine, CellCard, CellsPage
from pullbook.pages.render import around_person, draw

router = LateRouter(include_in_schema=False)


@router.get("/cells")
def cells(request: Request, session: ReadSession, person: Owner, now: Now) -> Response:
    """Cells with what is in force, what was, and a place to add."""
    return draw(around_person(request, session, person, "cells"), CellsPage(cells=_cells(session, now), now=now))


def _cells(session: Session, now: datetime) -> tuple[CellCard, ...]:
    lines: dict[str, list[CalibrationLine]] = {}
    rows = session.execute(
        select(Calibration, Staff.full_name)
        .join(Staff, Staff.id == Calibration.made_by)
        .order_by(Calibration.valid_from.desc(), Calibration.id.desc())
    )
    for row, maker in rows:
        of_cell = lines.setdefault(row.cell_id, [])
        in_force = row.valid_from <= now and not any(line.in_force for line in of_cell)
        of_cell.append(
            CalibrationLine(
                id=row.id,
                valid_from=row.valid_from,
                made_at=row.made_at,
                made_by_name=maker,
                reason=row.reason,
                evidence=row.evidence,
                in_force=in_force,
                values=constants_shown(row),
            )
        )
    return tuple(
        CellCard(
            id=cell.id,
            name=cell.name,
            drive=cell.drive,
            has_brake=cell.has_brake,
            altitude_m=cell.altitude_m,
            notes=cell.notes,
            version=cell.version,
            calibrations=tuple(lines.get(cell.id, ())),
        )
        for cell in session.scalars(select(Cell).order_by(Cell.name))
    )


def constants_shown(row: Calibration) -> tuple[tuple[str, str], ...]:
    """Constants as people read them, each with its standard uncertainty."""
    values = [
        ("Inertia J", f"{row.inertia_kg_m2:g} kg·m² (u {row.inertia_u_kg_m2:g})"),
        ("Roller radius", f"{row.roller_radius_m:g} m (u {row.roller_radius_u_m:g})"),
        (
            "Roller losses",
            f"{row.loss_c0_nm:g} N·m + {row.loss_c1_nm_s:g} N·m·s · ω + {row.loss_c2_nm_s2:g} N·m·s² · ω² "
            f"(u {row.loss_u_nm:g} N·m)",
        ),
    ]
    if row.pulses_per_turn is not None:
        values.append(("Pulses per roller turn", f"{row.pulses_per_turn:g}"))
    if row.brake_arm_m is not None:
        values.append(("Brake arm", f"{row.brake_arm_m:g} m (u {row.brake_arm_u_m or 0:g})"))
        values.append(
            ("Load-cell scale", f"{row.brake_scale:g} (u {row.brake_scale_u:g}), zero {row.brake_zero_nm:g} N·m")
        )
    return tuple(values)
