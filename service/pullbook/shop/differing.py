"""What two setups do not have in common: it cannot cancel in their difference, and repeats do not show it.

Pulls of one cell under one calibration share what inertia, losses, radius, brake and the cell's air instruments may be
off by; it is the same share of both setups and drops out of their difference. Under two calibrations, or in two cells,
it does not, and the parts of both are added in squares to what the scatter leaves. What changes with the setup alone –
straps, tyres, fuel, a controller that learns – nobody has measured, and no figure here holds it.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from math import sqrt

from pullbook.shop.reading import ReadPull

# names of the parts of a curve's uncertainty, by what they come from
OF_CALIBRATION = frozenset({"inertia", "losses", "radius", "speed", "brake scale", "brake arm"})
OF_AIR = frozenset({"air temperature", "air pressure", "humidity"})


@dataclass(frozen=True, slots=True)
class OwnPart:
    """Something that either setup has for itself. `u_pct`: its standard uncertainty in the difference, in %."""

    code: str  # calibration, air
    words: str
    u_pct: float


def own_parts(first: Sequence[ReadPull], later: Sequence[ReadPull]) -> tuple[OwnPart, ...]:
    """What does not cancel between the pulls that count of two setups; empty where everything is common."""
    cells = [{pull.cell.id for pull in pulls} for pulls in (first, later)]
    calibrations = [{pull.calibration.id for pull in pulls if pull.calibration} for pulls in (first, later)]
    found = []
    if calibrations[0] != calibrations[1]:
        whose = "two cells" if cells[0] != cells[1] else "two calibrations of one cell"
        found.append(OwnPart("calibration", f"rollers and brake, by {whose}", _both(first, later, OF_CALIBRATION)))
    if cells[0] != cells[1]:
        found.append(OwnPart("air", "the air, read in two cells", _both(first, later, OF_AIR)))
    return tuple(part for part in found if part.u_pct > 0.0)


def together_pct(parts: Sequence[OwnPart]) -> float:
    """All of them as one standard uncertainty, in %."""
    return sqrt(sum(part.u_pct**2 for part in parts))


def _both(first: Sequence[ReadPull], later: Sequence[ReadPull], names: Collection[str]) -> float:
    return sqrt(_of(first, names) ** 2 + _of(later, names) ** 2)


def _of(pulls: Sequence[ReadPull], names: Collection[str]) -> float:
    """The mean over a setup's pulls of these parts, added in squares."""
    each = [
        sqrt(sum(share**2 for name, share in pull.curve.uncertainty_pct.items() if name in names))
        for pull in pulls
        if pull.curve is not None
    ]
    return sum(each) / len(each) if each else 0.0
