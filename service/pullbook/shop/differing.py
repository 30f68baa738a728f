"""Setups against the first: what the mean changed by, beside what single pulls of one setup differ by anyway."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pullbook.measure.curveparts import area_under
from pullbook.shop.facts import Floats

_TRIMMED = 0.1  # of the shared speeds, at either end: where a sweep begins and ends it is known worst


@dataclass(frozen=True, slots=True)
class MeanPower:
    """Mean power of a setup's counted pulls over the band, and how far single pulls scatter about it."""

    mean_w: float
    scatter_w: float | None  # standard deviation of single pulls (n - 1); None for one pull
    counted: int


@dataclass(frozen=True, slots=True)
class Difference:
    """One setup less the first, as mean power over the band that all of their counted pulls share."""

    first_id: str
    later_id: str
    band_rpm: tuple[float, float]
    first: MeanPower
    later: MeanPower

    @property
    def difference_w(self) -> float:
        """Later less first."""
        return self.later.mean_w - self.first.mean_w

    @property
    def scatter_w(self) -> float | None:
        """The greater scatter of the two; None unless each has at least two pulls."""
        if self.first.scatter_w is None or self.later.scatter_w is None:
            return None
        return max(self.first.scatter_w, self.later.scatter_w)

    @property
    def within_scatter(self) -> bool:
        """Whether a single pull and its neighbour of the same setup differ by as much."""
        return self.scatter_w is not None and abs(self.difference_w) <= 2.0 * self.scatter_w


def difference_of(
    first_id: str, first: Sequence[Floats], later_id: str, later: Sequence[Floats], grid_rpm: Floats
) -> Difference | None:
    """From counted pulls' power on one grid; None where they share too little engine speed or one has no pull."""
    if not first or not later:
        return None
    shared = np.flatnonzero(np.isfinite(np.stack([*first, *later])).all(axis=0))
    skip = round(_TRIMMED * (len(shared) - 1))
    inside = shared[skip : len(shared) - skip]
    if len(inside) < 2:
        return None
    low, high = float(grid_rpm[inside[0]]), float(grid_rpm[inside[-1]])

    def told(powers: Sequence[Floats]) -> MeanPower:
        means = [area_under(grid_rpm[inside], power[inside], (low, high)) / (high - low) for power in powers]
        scatter = float(np.std(means, ddof=1)) if len(means) > 1 else None
        return MeanPower(float(np.mean(means)), scatter, len(means))

    return Difference(first_id, later_id, (low, high), told(first), told(later))
