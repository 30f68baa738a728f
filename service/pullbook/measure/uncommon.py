"""What of the uncertainty does not cancel when one pull, or one setup, is set against another (GUM 5.2: correlation).

A roller whose inertia is said to be one per cent too high makes both figures one per cent too high, and their
difference hardly feels it. So each part of a pull's budget goes by where it comes from: everything that the cell and
its calibration bring is one error, shared by all pulls read with that calibration; the air's is shared by all pulls
that were given the same reading. Noise is nobody's but the pull's own, and the scatter between pulls shows it: it is
left out here, so that nobody counts it twice.
"""

from collections.abc import Mapping, Sequence

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.measure.curveparts import Curve, Moment
from pullbook.measure.propagation import propagated
from pullbook.measure.uncertainty import power_parts

FROM_READING = frozenset({"air temperature", "air pressure", "humidity"})
OWN = frozenset({"noise"})


@dataclass(frozen=True)
class Sourced:
    """A pull's signed parts (standard uncertainty as a share of the figure, by input) and where they come from.

    `calibration` and `reading` are any words that are equal exactly where the pulls share them; `reading` None: no air.
    """

    parts: Mapping[str, float]
    calibration: str
    reading: str | None = None

    def by_source(self) -> dict[tuple[str, str], float]:
        """The parts that another pull may share, by input and where it comes from."""
        return {
            (name, f"reading {self.reading}" if name in FROM_READING else f"calibration {self.calibration}"): part
            for name, part in self.parts.items()
            if name not in OWN
        }


def parts_of(curve: Curve, figure: str = "mean_power") -> dict[str, float]:
    """The signed parts of one of a curve's figures, `mean_power` (over its band) or `peak_power`, as shares of it."""
    basis = curve.basis
    if basis is None:
        return {}
    at: Moment = getattr(basis, figure)
    own = power_parts(at, basis.calibration, basis.from_surface_speed, basis.brake_by_force)
    return {**own, **basis.factor_parts}


def uncommon_u_pct(first: Sequence[Sourced], later: Sequence[Sourced]) -> float:
    """Standard uncertainty (k = 1) that remains in the mean of the later pulls over that of the first, in %.

    `first`, `later`: one `Sourced` for each pull that counts, at least one each; for a mean over a band
    `Sourced(parts_of(curve), calibration id, weather reading id)`. Same cell, calibration and weather reading, and
    alike loads: next to 0. Another calibration: both calibrations' parts, added in squares. The pulls' own noise is
    not in it, for their scatter tells it. ValueError where a side has no pull.
    """
    if not first or not later:
        raise ValueError("both sides need a pull")
    pulls = [one.by_source() for one in (*first, *later)]
    sources = sorted(set().union(*pulls))
    shares = np.array([[pull.get(source, 0.0) for source in sources] for pull in pulls])
    weights = np.array([[-1.0 / len(first)] * len(first) + [1.0 / len(later)] * len(later)])
    variance = propagated(weights, shares @ shares.T)
    return 100.0 * float(np.sqrt(max(variance[0, 0], 0.0)))
