"""Calibrating: evidence read anew at every look, and what constants it comes to. Nothing derived is stored."""

from collections.abc import Sequence
from dataclasses import field, fields

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.db.tables import Calibration, ChannelMap
from pullbook.errors import FieldProblem, Invalid
from pullbook.late_methods import dataclass
from pullbook.measure.brakecheck import STANDARD_GRAVITY_M_S2, BrakeCheck, Step, check_brake
from pullbook.measure.brakepool import BrakePool, pool_checks
from pullbook.measure.coastdown import CoastDown, read_coast_down
from pullbook.measure.coastruns import Added, Drifted, InertiaCheck, Losses, check_inertia, combine, drift
from pullbook.measure.curveparts import RollerCalibration, SweepError
from pullbook.measure.glossary import CHANNELS
from pullbook.runfile.channel_map import ROLLER_QUANTITIES
from pullbook.runfile.channels import ChannelMapError, apply_map, columns_needed
from pullbook.shop.evidencing import EvidenceFacts, constants_at, evidence_of
from pullbook.shop.facts import Floats
from pullbook.shop.mapping import choices_of
from pullbook.shop.unpacking import columns_of

NO_CONSTANTS = (
    "This cell has no calibration yet to read it under. Enter a first one by hand, from what the rollers' maker "
    "states; this will then be read, and can correct it."
)
_CONSTANTS = tuple(field.name for field in fields(RollerCalibration))
WRONG_Z = 3.0  # below it J stands, whatever a run or two say
ONE_SESSION_DAYS = 2.0


@dataclass(frozen=True)
class EvidenceRead:
    """One piece of evidence and what it comes to: a fitted run, a checked brake, or why neither."""

    facts: EvidenceFacts
    run: CoastDown | None = None
    brake: BrakeCheck | None = None
    inertia_kg_m2: float | None = None  # of the calibration it was read under
    inertia_u_kg_m2: float | None = None
    failure: str | None = None

    @property
    def added(self) -> Added:
        """What was added to the bare rollers."""
        return added_of(self.facts)


@dataclass(frozen=True)
class Proposed:
    """The constants that chosen evidence comes to. `values`: every constant of a calibration; `from_evidence`: those
    that the evidence gave, the others standing as they were; `words` says how, and what to doubt."""

    values: dict[str, float | None]
    from_evidence: tuple[str, ...]
    words: tuple[str, ...]
    losses: Losses | None = None
    drifted: Drifted | None = None
    inertia: InertiaCheck | None = None
    brake: BrakePool | None = None
    evidence_ids: tuple[str, ...] = field(default=())
    chosen: tuple[EvidenceRead, ...] = field(default=())  # each as it was read for this


def added_of(facts: EvidenceFacts) -> Added:
    """What was added in a run, from what was said beside its file. A weight on a rope drives, and has its own mass at
    that radius to speed up."""
    said = {name: float(value) for name, value in facts.details.items() if isinstance(value, int | float)}
    if "torque_nm" in said:
        return Added(said["torque_nm"], said["torque_u_nm"])
    if "disc_inertia_kg_m2" in said:
        return Added(0.0, 0.0, said["disc_inertia_kg_m2"], said["disc_inertia_u_kg_m2"])
    if "hung_mass_kg" not in said:
        return Added()
    mass, radius = said["hung_mass_kg"], said["hung_radius_m"]
    torque, inertia = mass * STANDARD_GRAVITY_M_S2 * radius, mass * radius * radius
    by_mass, by_radius = said["hung_mass_u_kg"] / mass, said["hung_radius_u_m"] / radius
    return Added(
        -torque,
        torque * (by_mass**2 + by_radius**2 + 0.0015**2) ** 0.5,
        inertia,
        inertia * (by_mass**2 + 4.0 * by_radius**2) ** 0.5,
    )


def read_evidence(session: Session, facts: EvidenceFacts) -> EvidenceRead:
    """One piece, read anew under the calibration in force when it was taken."""
    if facts.kind == "brake_weights":
        return _read_weights(facts)
    kept = constants_at(session, facts.cell_id, facts.taken_at)
    if kept is None:
        return EvidenceRead(facts, failure=NO_CONSTANTS)
    constants = roller_constants(kept)
    try:
        run = read_coast_down(_channels(session, facts), constants)
    except (SweepError, ChannelMapError) as error:
        return EvidenceRead(facts, failure=str(error))
    driven = facts.kind == "known_mass" and "hung_mass_kg" in facts.details
    if run.falls == driven:
        wanted = "speed the rollers up from rest" if driven else "run down from speed"
        return EvidenceRead(facts, failure=f"In this file the rollers do not {wanted}; was another file meant?")
    return EvidenceRead(facts, run, None, constants.inertia_kg_m2, constants.inertia_u_kg_m2)


def roller_constants(row: Calibration) -> RollerCalibration:
    """A calibration on record as the calculation takes it."""
    return RollerCalibration(**{name: getattr(row, name) for name in _CONSTANTS})


def _channels(session: Session, facts: EvidenceFacts) -> dict[str, Floats]:
    columns = columns_of(session, facts.sha256) if facts.sha256 else None
    if columns is None:
        raise SweepError("The file cannot be read as a table of samples; it is kept as it came. File a readable one.")
    said = session.execute(select(ChannelMap.columns).where(ChannelMap.id == facts.channel_map_id)).scalar_one_or_none()
    if said is None:
        raise SweepError(
            "Which column is what is not clear from its headings. Save a channel map for such files and file it again."
        )
    wanted = {"time_s", *ROLLER_QUANTITIES}
    choices = tuple(choice for choice in choices_of(said) if choice.quantity in wanted & set(CHANNELS))
    places = columns_needed(columns.headers, choices)
    return apply_map([columns.headers[place] for place in places], columns.values[places], choices)


def _read_weights(facts: EvidenceFacts) -> EvidenceRead:
    said = facts.details
    steps = said["steps"]
    arm = float(str(said["arm_m"]))
    by_force = said["readings_are"] == "brake_force_n"
    if not isinstance(steps, list):
        raise TypeError("steps are kept as a list")
    try:
        brake = check_brake(
            [Step(one["mass_kg"], one["reading"] * (arm if by_force else 1.0), one["rising"]) for one in steps],
            arm,
            float(str(said["arm_u_m"])),
            float(str(said["gravity_m_s2"])),
            float(str(said["gravity_u_m_s2"])),
            float(str(said["mass_u_share"])),
        )
    except ValueError as error:
        return EvidenceRead(facts, failure=f"The weights do not tell the cell's constants: {error}.")
    return EvidenceRead(facts, brake=brake)


def propose(session: Session, cell_id: str, evidence_ids: Sequence[str]) -> Proposed:
    """What the chosen evidence comes to. Invalid for evidence of another cell, or where there is none to use."""
    there = {facts.id: facts for facts in evidence_of(session, cell_id)}
    refuse_foreign_evidence(there, evidence_ids)
    chosen = [read_evidence(session, facts) for key, facts in there.items() if key in set(evidence_ids)]
    latest = max((one.facts.taken_at for one in chosen), default=None)
    kept = constants_at(session, cell_id, latest) if latest is not None else None
    if kept is None:
        raise Invalid(NO_CONSTANTS, FieldProblem("evidence_id", None, "evidence of a cell that has a calibration"))
    return _proposed(roller_constants(kept), chosen)


def refuse_foreign_evidence(there: dict[str, EvidenceFacts], wanted: Sequence[str]) -> None:
    """Invalid where an id is not among this cell's evidence."""
    for one in wanted:
        if one not in there:
            raise Invalid(
                f"There is no evidence {one} of this cell.",
                FieldProblem("evidence_ids", one, "the id of evidence on record for this very cell"),
            )


def _proposed(base: RollerCalibration, chosen: Sequence[EvidenceRead]) -> Proposed:
    values: dict[str, float | None] = {name: getattr(base, name) for name in _CONSTANTS}
    given: list[str] = []
    words = [f"{one.facts.file_name or 'Weights'}: {one.failure}" for one in chosen if one.failure]
    words += _apart_words(chosen)
    bare = [one.run for one in chosen if one.run is not None and one.facts.kind == "coast_down"]
    loaded = [(one.run, one.added) for one in chosen if one.run is not None and one.facts.kind != "coast_down"]
    inertia = _inertia(base, bare, loaded, words)
    if inertia is not None and abs(inertia.z) > WRONG_Z:
        values |= {"inertia_kg_m2": inertia.inertia_kg_m2, "inertia_u_kg_m2": inertia.u_kg_m2}
        given += ["inertia_kg_m2", "inertia_u_kg_m2"]
    losses = drifted = None
    if bare:
        j, u = values["inertia_kg_m2"] or 0.0, values["inertia_u_kg_m2"] or 0.0
        losses, drifted = combine(bare, j, u), drift(bare, j)
        c0, c1, c2 = (float(one) for one in losses.coefficients)
        names = ("loss_c0_nm", "loss_c1_nm_s", "loss_c2_nm_s2", "loss_u_nm")
        values |= dict(zip(names, (c0, c1, c2, losses.u_typical_nm), strict=True))
        given += names
        plural = "s" if len(bare) > 1 else ""
        words.append(f"Losses from {len(bare)} coast-down{plural}. {_scatter_words(losses, drifted)}".strip())
        words += [drifted.words] if drifted is not None and len(bare) > 1 else []
    brake = _brake(chosen, words)
    if brake is not None:
        values |= {"brake_scale": brake.scale, "brake_scale_u": brake.scale_u, "brake_zero_nm": brake.zero_nm}
        given += ["brake_scale", "brake_scale_u", "brake_zero_nm"]
    ids = tuple(one.facts.id for one in chosen)
    return Proposed(values, tuple(given), tuple(words), losses, drifted, inertia, brake, ids, tuple(chosen))


def _brake(chosen: Sequence[EvidenceRead], words: list[str]) -> BrakePool | None:
    """Every check of the brake together; what each says of itself is told by its day where there are several."""
    checks = [(one.facts.taken_at, one.brake) for one in chosen if one.brake is not None]
    if not checks:
        return None
    pool = pool_checks([check for _, check in checks])
    words += pool.words
    if len(checks) == 1:
        words += checks[0][1].words
    else:
        words += [f"{taken_at:%Y-%m-%d}: {' '.join(check.words)}" for taken_at, check in checks]
    return pool


def _inertia(
    base: RollerCalibration, bare: list[CoastDown], loaded: list[tuple[CoastDown, Added]], words: list[str]
) -> InertiaCheck | None:
    if not loaded:
        return None
    if not bare:
        words.append("A run with something added says nothing of J without a bare coast-down: choose one too.")
        return None
    try:
        found = check_inertia(bare, loaded, base.inertia_kg_m2, base.inertia_u_kg_m2)
    except ValueError as error:
        words.append(f"J was not found: {error}.")
        return None
    words.append(
        f"J by what was added: {found.inertia_kg_m2:.4g} ± {2.0 * found.u_kg_m2:.2g} kg·m² (k = 2). {found.words}"
    )
    return found


def _scatter_words(losses: Losses, drifted: Drifted | None) -> str:
    if losses.runs < 2:
        return "One run alone: how far the next would differ is unknown."
    if drifted is None:
        return ""
    spread = 100.0 * float(np.std(drifted.loss_nm, ddof=1)) / float(np.mean(drifted.loss_nm))
    return f"They scatter by {spread:.2f} % at {drifted.at_rad_s:.0f} rad/s, which the uncertainty counts in."


def _apart_words(chosen: Sequence[EvidenceRead]) -> list[str]:
    runs = [one.facts.taken_at for one in chosen if one.run is not None]
    days = (max(runs) - min(runs)).total_seconds() / 86400.0 if runs else 0.0
    if days <= ONE_SESSION_DAYS:
        return []
    return [
        f"Look first: the chosen runs lie {days:.0f} days apart. Losses change over months; choose one session's runs."
    ]
