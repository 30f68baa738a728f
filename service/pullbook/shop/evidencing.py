"""Evidencing: what somebody did to find out a cell's constants is filed as it was done, and never edited."""

from collections.abc import Mapping
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.db.joined import CalibrationEvidence
from pullbook.db.tables import Calibration, Cell, Staff
from pullbook.errors import FieldProblem, Invalid, NotFound
from pullbook.late_methods import dataclass
from pullbook.shop.auditing import note
from pullbook.shop.chaining import enter
from pullbook.shop.filing import FileRead, clean_file_name, keep_file
from pullbook.shop.mapping import choose_map, keep_recognised

# what must be said beside the bytes, by kind; each `…_u…` is a standard uncertainty (k = 1)
SAID_BESIDE: Mapping[str, tuple[tuple[str, ...], ...]] = {
    "coast_down": ((),),
    "known_torque": (("torque_nm", "torque_u_nm"),),
    "known_mass": (
        ("disc_inertia_kg_m2", "disc_inertia_u_kg_m2"),
        ("hung_mass_kg", "hung_mass_u_kg", "hung_radius_m", "hung_radius_u_m"),
    ),
}


@dataclass(frozen=True, slots=True)
class EvidenceWanted:
    """What is said of a file beside its bytes; `details` as `SAID_BESIDE` has them."""

    cell_id: str
    kind: str
    taken_at: datetime
    file_name: str
    details: Mapping[str, float]
    note: str = ""
    channel_map_id: str | None = None


@dataclass(frozen=True, slots=True)
class EvidenceFacts:
    """Evidence as it was filed or entered."""

    id: str
    cell_id: str
    kind: str
    taken_at: datetime
    sha256: str | None
    file_name: str
    channel_map_id: str | None
    details: Mapping[str, object]
    note: str
    made_at: datetime
    made_by_name: str


def refuse_unknown_cell(session: Session, cell_id: str) -> None:
    """NotFound where there is no such cell."""
    if session.execute(select(Cell.id).where(Cell.id == cell_id)).one_or_none() is None:
        raise NotFound(f"There is no cell {cell_id}.")


def refuse_wrong_details(kind: str, given: Mapping[str, float | None]) -> dict[str, float]:
    """The details that this kind needs, and no others; Invalid names what is missing or does not belong."""
    there = {name: value for name, value in given.items() if value is not None}
    for wanted in SAID_BESIDE[kind]:
        if set(there) == set(wanted):
            return there
    needed = " or ".join(", ".join(names) for names in SAID_BESIDE[kind]) or "nothing"
    called = kind.replace("_", " ").replace("coast down", "coast-down")
    meant = max(SAID_BESIDE[kind], key=lambda names: len(set(names) & set(there)))
    beside = f"together with {', '.join(name for name in meant if name in there)}" if set(meant) & set(there) else ""
    problems = [
        FieldProblem(name, None, f"a figure for it, {beside or 'since nothing was said of what was added'}")
        for name in meant
        if name not in there
    ]
    problems += [
        FieldProblem(name, value, f"nothing: a {called} takes {needed} and nothing else")
        for name, value in sorted(there.items())
        if name not in meant
    ]
    raise Invalid(f"A {called} needs {needed} beside the file.", *problems)


def file_evidence(
    session: Session, now: datetime, staff_id: str, wanted: EvidenceWanted, read: FileRead
) -> tuple[str, bool]:
    """File it in this transaction; gives its id and whether it was made now. The same file said to be the same thing of
    the same time is the evidence that is there already; said of another time it is filed once more."""
    refuse_unknown_cell(session, wanted.cell_id)
    map_id = wanted.channel_map_id
    if read.run is not None and read.recognised is not None:
        mapped = choose_map(session, read.run.headers, read.run.values, map_id, read.recognised)
        map_id = mapped.map_id
        if map_id is None and mapped.unreadable_reason is None:
            map_id = keep_recognised(session, read.recognised, now, staff_id)
    there = session.execute(
        select(CalibrationEvidence).where(
            CalibrationEvidence.cell_id == wanted.cell_id,
            CalibrationEvidence.sha256 == read.sha256,
            CalibrationEvidence.kind == wanted.kind,
            CalibrationEvidence.taken_at == wanted.taken_at,
        )
    ).scalars()
    for one in there:
        if one.channel_map_id == map_id and one.details == dict(wanted.details):
            return one.id, False
    keep_file(session, now, read)
    row = CalibrationEvidence(
        cell_id=wanted.cell_id,
        kind=wanted.kind,
        taken_at=wanted.taken_at,
        sha256=read.sha256,
        file_name=clean_file_name(wanted.file_name),
        channel_map_id=map_id,
        details=dict(wanted.details),
        note=wanted.note,
        made_at=now,
        made_by=staff_id,
    )
    return _kept(session, now, staff_id, row), True


def enter_weights(
    session: Session,
    now: datetime,
    staff_id: str,
    cell_id: str,
    taken_at: datetime,
    details: Mapping[str, object],
    words: str,
) -> str:
    """Known weights on the brake's arm, as they were read off; gives the id."""
    refuse_unknown_cell(session, cell_id)
    row = CalibrationEvidence(
        cell_id=cell_id,
        kind="brake_weights",
        taken_at=taken_at,
        details=dict(details),
        note=words,
        made_at=now,
        made_by=staff_id,
    )
    return _kept(session, now, staff_id, row)


def _kept(session: Session, now: datetime, staff_id: str, row: CalibrationEvidence) -> str:
    session.add(row)
    session.flush()
    after = {
        "cell_id": row.cell_id,
        "kind": row.kind,
        "taken_at": row.taken_at.isoformat(),
        "sha256": row.sha256,
        "details": row.details,
    }
    note(session, now, staff_id, "file", "calibration evidence", row.id, None, after)
    enter(session, now, "calibration evidence", row.id)
    return row.id


SELECTED = select(
    *(getattr(CalibrationEvidence, name) for name in EvidenceFacts.__dataclass_fields__ if name != "made_by_name"),
    Staff.full_name.label("made_by_name"),
).join(Staff, Staff.id == CalibrationEvidence.made_by)


def evidence_of(session: Session, cell_id: str) -> list[EvidenceFacts]:
    """Everything on record about a cell, the earliest taken first."""
    rows = session.execute(
        SELECTED.where(CalibrationEvidence.cell_id == cell_id).order_by(
            CalibrationEvidence.taken_at, CalibrationEvidence.id
        )
    )
    return [EvidenceFacts(**row._mapping) for row in rows]


def constants_at(session: Session, cell_id: str, at: datetime) -> Calibration | None:
    """What was in force then; before the first calibration, that one; None where the cell has none at all."""
    in_force = session.execute(
        select(Calibration)
        .where(Calibration.cell_id == cell_id, Calibration.valid_from <= at)
        .order_by(Calibration.valid_from.desc(), Calibration.id.desc())
        .limit(1)
    ).scalar_one_or_none()
    if in_force is not None:
        return in_force
    return session.execute(
        select(Calibration)
        .where(Calibration.cell_id == cell_id)
        .order_by(Calibration.valid_from, Calibration.id.desc())
        .limit(1)
    ).scalar_one_or_none()
