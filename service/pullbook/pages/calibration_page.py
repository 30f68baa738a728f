"""A cell's evidence as its page shows it: what each piece comes to, and the calibration that chosen ones make."""

from datetime import datetime
from typing import Annotated

import numpy as np
from fastapi import Query, Request
from sqlalchemy.orm import Session
from starlette.responses import Response

from pullbook.control_chart_svg import CHART_NARROW, residual_svg
from pullbook.db.tables import Cell
from pullbook.deps import Now, PagePerson, ReadSession
from pullbook.errors import NotFound
from pullbook.late_routes import LateRouter
from pullbook.pages.owner import constants_shown
from pullbook.pages.render import around_person, draw
from pullbook.pages.rollers_shown import CalibrationPage, EvidenceLine, ProposedLine
from pullbook.shop.calibrating import EvidenceRead, Proposed, propose, read_evidence, roller_constants
from pullbook.shop.evidencing import constants_at, evidence_of

router = LateRouter(include_in_schema=False)
READ_AT_ONCE = 8  # of the latest pieces: a few sessions; a fit of every one ever filed would keep the page waiting
NOT_FITTED = "Of an earlier session: tick it to see what it comes to."
TITLES = {
    "inertia_kg_m2": "Inertia J, kg·m²",
    "inertia_u_kg_m2": "u of J, kg·m²",
    "roller_radius_m": "Roller radius, m",
    "roller_radius_u_m": "u of radius, m",
    "pulses_per_turn": "Pulses per roller turn",
    "loss_c0_nm": "Loss c0, N·m",
    "loss_c1_nm_s": "Loss c1, N·m·s",
    "loss_c2_nm_s2": "Loss c2, N·m·s²",
    "loss_u_nm": "u of losses, N·m",
    "brake_arm_m": "Brake arm, m",
    "brake_arm_u_m": "u of arm, m",
    "brake_scale": "Load-cell scale",
    "brake_scale_u": "u of scale",
    "brake_zero_nm": "Brake zero, N·m",
}


@router.get("/cells/{cell_id}")
def calibration(
    request: Request,
    cell_id: str,
    session: ReadSession,
    person: PagePerson,
    now: Now,
    evidence_id: Annotated[list[str], Query(max_length=60)] = [],  # noqa: B006
) -> Response:
    """One cell's coast-downs and weights, and the calibration that chosen ones make."""
    page = read_calibration_page(session, cell_id, evidence_id, now)
    return draw(around_person(request, session, person, "rollers"), page)


def read_calibration_page(session: Session, cell_id: str, chosen: list[str], now: datetime) -> CalibrationPage:
    """Everything on it; NotFound for an unknown cell."""
    cell = session.get(Cell, cell_id)
    if cell is None:
        raise NotFound("There is no such cell.")
    kept = constants_at(session, cell_id, now)
    proposed = propose(session, cell_id, chosen) if chosen else None
    lines = _lines(session, cell_id, () if proposed is None else proposed.chosen)
    stands = {} if kept is None else {name: getattr(roller_constants(kept), name) for name in TITLES}
    return CalibrationPage(
        cell=cell,
        now=now,
        in_force=() if kept is None else constants_shown(kept),
        lines=lines,
        proposed=proposed,
        constants=() if proposed is None else _constants(proposed, stands, cell.has_brake),
        arm_m=None if kept is None else kept.brake_arm_m,
    )


def _lines(session: Session, cell_id: str, chosen: tuple[EvidenceRead, ...]) -> tuple[EvidenceLine, ...]:
    """The latest first. What is chosen was read for the proposal; of the rest only the latest few are fitted here."""
    read = {one.facts.id: one for one in chosen}
    lines = []
    for place, facts in enumerate(reversed(evidence_of(session, cell_id))):
        one = read.get(facts.id)
        if one is None:
            one = read_evidence(session, facts) if place < READ_AT_ONCE else EvidenceRead(facts)
        lines.append(_line(one, facts.id in read))
    return tuple(lines)


def _constants(proposed: Proposed, stands: dict[str, float | None], has_brake: bool) -> tuple[ProposedLine, ...]:
    return tuple(
        ProposedLine(
            name=name,
            title=title,
            stands=_figure(stands.get(name)),
            comes_to=_figure(proposed.values[name]),
            value="" if proposed.values[name] is None else f"{proposed.values[name]:.6g}",
            given=name in proposed.from_evidence,
        )
        for name, title in TITLES.items()
        if has_brake or not name.startswith("brake_")
    )


def _figure(value: float | None) -> str:
    return "–" if value is None else f"{round(value, 9):.5g}".replace("-", "−")


def _line(read: EvidenceRead, chosen: bool) -> EvidenceLine:
    run, brake, facts = read.run, read.brake, [*_added(read)]
    comes_to, wide, narrow = read.failure or NOT_FITTED, "", ""
    steps: tuple[tuple[str, str, str, str], ...] = ()
    if run is not None and read.inertia_kg_m2 is not None:
        losses = run.losses_nm(read.inertia_kg_m2)
        top = float(losses @ run.high_rad_s ** np.arange(3))
        comes_to = f"{top:.1f} N·m at {run.high_rad_s:.0f} rad/s"
        u = np.sqrt(np.diagonal(run.covariance)) * read.inertia_kg_m2
        units = ("N·m", "N·m·s", "N·m·s²")
        facts += [
            (f"c{place}", f"{losses[place]:.4g} ± {2.0 * u[place]:.1g} {units[place]} (k = 2, J taken as known)")
            for place in range(3)
        ]
        facts += [
            ("From, to", f"{run.high_rad_s:.1f} to {run.low_rad_s:.1f} rad/s, {run.time_s[-1] - run.time_s[0]:.0f} s"),
            ("Read under", f"J = {read.inertia_kg_m2:g} kg·m², in force when it was taken"),
            ("Fitted to", "the angle turned" if run.from_angle else "roller speed"),
        ]
        wide, narrow = residual_svg(run), residual_svg(run, CHART_NARROW)
    if brake is not None:
        comes_to = f"scale {brake.scale:.4f} (u {brake.scale_u:.4f}), zero {brake.zero_nm:.2f} N·m"
        facts += [("Gravity", f"{brake.gravity_m_s2:.4f} m/s²"), ("Span", f"{brake.span_nm:.1f} N·m")]
        facts += [("Cell", line) for line in brake.words]
        steps = _steps(read)
    return EvidenceLine(read, chosen, comes_to, tuple(facts), steps, wide, narrow)


def _added(read: EvidenceRead) -> list[tuple[str, str]]:
    added, kind = read.added, read.facts.kind
    if kind == "known_torque":
        return [("Added", f"{added.torque_nm:g} N·m held (u {added.torque_u_nm:g})")]
    if kind == "known_mass" and added.torque_nm == 0.0:
        return [("Added", f"a disc of {added.inertia_kg_m2:g} kg·m² (u {added.inertia_u_kg_m2:g})")]
    if kind == "known_mass":
        return [("Added", f"a weight of {read.facts.details['hung_mass_kg']:g} kg on a rope")]
    return []


def _steps(read: EvidenceRead) -> tuple[tuple[str, str, str, str], ...]:
    steps, brake = read.facts.details["steps"], read.brake
    if brake is None or not isinstance(steps, list):
        return ()
    return tuple(
        (f"{one['mass_kg']:g}", "up" if one["rising"] else "down", f"{truth:.1f}", f"{left:+.2f}".replace("-", "−"))
        for one, truth, left in zip(steps, brake.truth_nm, brake.residual_nm, strict=True)
    )
