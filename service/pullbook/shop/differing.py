"""What two setups do not have in common: it cannot cancel in their difference, and repeats do not show it.

Pulls read with one calibration share what inertia, losses, radius and brake may be off by; pulls whose air was read
with one instrument share what that may be off by. It is the same share of both setups and drops out of their
difference. Where calibrations or instruments differ, or where the setups load roller and brake unlike each other, the
rest stays and is added in squares to what the scatter leaves. What changes with the setup alone – straps, tyres, fuel,
a controller that learns – nobody has measured, and no figure here holds it.
"""

from collections.abc import Sequence
from math import sqrt

from pullbook.late_methods import dataclass
from pullbook.measure.uncommon import FROM_READING, Sourced, parts_of, uncommon_u_pct
from pullbook.shop.reading import ReadPull

_LEAST_PCT = 0.01  # less is a rounding of what cancels


@dataclass(frozen=True, slots=True)
class OwnPart:
    """Something that either setup has for itself. `u_pct`: its standard uncertainty in the difference, in %."""

    code: str  # calibration, air
    words: str
    u_pct: float


@dataclass(frozen=True, slots=True)
class Sources:
    """What a pull's figure may be off by, by where it comes from: the rollers' part and the air's."""

    rollers: Sourced
    air: Sourced
    cell_id: str
    calibration_id: str


def sources_of(pulls: Sequence[ReadPull]) -> tuple[Sources, ...]:
    """Of the pulls that count in a setup."""
    return tuple(_sources(pull) for pull in pulls)


def _sources(pull: ReadPull) -> Sources:
    parts = {} if pull.curve is None else parts_of(pull.curve)
    calibration = "" if pull.calibration is None else pull.calibration.id
    instrument = "" if pull.weather is None else f"{pull.cell.id} {pull.weather.source}"
    return Sources(
        rollers=Sourced({name: share for name, share in parts.items() if name not in FROM_READING}, calibration),
        air=Sourced({name: share for name, share in parts.items() if name in FROM_READING}, calibration, instrument),
        cell_id=pull.cell.id,
        calibration_id=calibration,
    )


def own_parts(first: Sequence[Sources], later: Sequence[Sources]) -> tuple[OwnPart, ...]:
    """What does not cancel between two setups, each with a pull that counts; empty where everything is common."""
    if {one.cell_id for one in first} != {one.cell_id for one in later}:
        rollers = "rollers and brake of two cells"
    elif {one.calibration_id for one in first} != {one.calibration_id for one in later}:
        rollers = "rollers and brake under two calibrations"
    else:
        rollers = "rollers and brake, which the setups load unlike each other"
    found = (
        OwnPart("calibration", rollers, uncommon_u_pct([one.rollers for one in first], [one.rollers for one in later])),
        OwnPart(
            "air",
            "the air, read in another place or with another instrument",
            uncommon_u_pct([one.air for one in first], [one.air for one in later]),
        ),
    )
    return tuple(part for part in found if part.u_pct >= _LEAST_PCT)


def together_pct(parts: Sequence[OwnPart]) -> float:
    """All of them as one standard uncertainty, in %."""
    return sqrt(sum(part.u_pct**2 for part in parts))
