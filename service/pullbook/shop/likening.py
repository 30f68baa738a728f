"""Likening: pulls of cars like this one, taken in air like its own, one of each setup.

Like it are cars of the same make and model, or with the same engine as written; where there are none, those whose
engine has the same swept volume to a tenth of a litre, breathes alike and burns the same. Of each setup comes the
pull with the fewest flags, and of those the one with the most power, as found by; coast-downs, holds and whatever is
set aside are left out. What is laid over each other is read anew by the comparison.
"""

from collections.abc import Sequence
from typing import Any

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from pullbook.db.found import FoundPull, FoundTicket
from pullbook.errors import NotFound
from pullbook.late_methods import dataclass

AIR_WITHIN_PCT = 3.0  # of density: some 9 °C, or 3 kPa
MOST_TICKETS = 400  # the newest of them
MOST_SETUPS = 8


@dataclass(frozen=True, slots=True)
class Alike:
    """One pull of another car, or of this one on another day."""

    pull_id: str
    number: int
    setup_id: str
    air_density_kg_m3: float


@dataclass(frozen=True, slots=True)
class Likeness:
    """What was taken for like it, and the pulls found. `by`: model_or_engine, engine_family, or nothing."""

    pull_id: str
    by: str
    family: str
    air_density_kg_m3: float | None
    pulls: tuple[Alike, ...]


def cars_like(session: Session, pull_id: str) -> Likeness:
    """Pulls of cars like this pull's, in like air, at most one of each setup, the newest jobs first."""
    own = session.execute(
        select(FoundPull.number, FoundPull.setup_id, FoundPull.air_density_kg_m3).where(FoundPull.pull_id == pull_id)
    ).one_or_none()
    if own is None:
        raise NotFound(f"There is no pull {pull_id}.")
    car = session.execute(select(FoundTicket).where(FoundTicket.number == own.number)).scalar_one_or_none()
    family = car.family_key if car is not None else ""
    if car is None or own.air_density_kg_m3 is None:
        return Likeness(pull_id, "nothing", family, own.air_density_kg_m3, ())
    same = [FoundTicket.model_id == car.model_id]
    same += [FoundTicket.engine_key == car.engine_key] if car.engine_key else []
    for by, condition in (("model_or_engine", or_(*same)), ("engine_family", FoundTicket.family_key == family)):
        if by == "engine_family" and not family:
            continue
        found = _best_of_setups(session, own, condition)
        if found:
            return Likeness(pull_id, by, family, own.air_density_kg_m3, found)
    return Likeness(pull_id, "nothing", family, own.air_density_kg_m3, ())


def _best_of_setups(session: Session, own: Any, condition: Any) -> tuple[Alike, ...]:
    numbers: Sequence[int] = session.scalars(
        select(FoundTicket.number).where(condition).order_by(FoundTicket.number.desc()).limit(MOST_TICKETS)
    ).all()
    band = own.air_density_kg_m3 * AIR_WITHIN_PCT / 100.0
    rows = session.execute(
        select(FoundPull.pull_id, FoundPull.number, FoundPull.setup_id, FoundPull.air_density_kg_m3)
        .where(
            FoundPull.number.in_(numbers),
            FoundPull.setup_id != own.setup_id,
            FoundPull.kind == "sweep",
            ~FoundPull.set_aside,
            FoundPull.power_w.is_not(None),
            FoundPull.air_density_kg_m3.between(own.air_density_kg_m3 - band, own.air_density_kg_m3 + band),
        )
        .order_by(FoundPull.number.desc(), FoundPull.flag_count, FoundPull.power_w.desc(), FoundPull.pull_id.desc())
    )
    best: dict[str, Alike] = {}
    for row in rows:
        best.setdefault(row.setup_id, Alike(row.pull_id, row.number, row.setup_id, float(row.air_density_kg_m3 or 0.0)))
        if len(best) > MOST_SETUPS * 4:
            break
    return tuple(best.values())[:MOST_SETUPS]
