"""Judging setups: each later one against the first, over one band of speed, by `measure`'s verdict."""

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime

import numpy as np

from pullbook.errors import FieldProblem, Invalid
from pullbook.late_methods import dataclass
from pullbook.measure.verdict import WORTH_PCT, Verdict, verdict
from pullbook.shop.differing import OwnPart, Sources, own_parts, sources_of, together_pct
from pullbook.shop.facts import Floats
from pullbook.shop.reading import ReadPull

_TRIMMED = 0.1  # of the shared speeds, at either end: where a sweep begins and ends it is known worst
_FEWEST_POINTS = 4
LEAST_WORTH_PCT, MOST_WORTH_PCT = 0.1, 20.0

Band = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Asked:
    """What a comparison is judged by: the band of speed, and from which share on a difference matters."""

    band_low_rpm: float | None = None  # None: a tenth above the lowest speed that all share
    band_high_rpm: float | None = None
    worth_pct: float = WORTH_PCT


@dataclass(frozen=True, slots=True)
class Laid:
    """A setup's pulls that count, and their power on the common grid, W: one row for each."""

    setup_id: str
    pulls: Sequence[ReadPull]
    powers_w: Sequence[Floats]
    set_aside: Sequence[ReadPull]


@dataclass(frozen=True, slots=True)
class SetAside:
    """A pull that is shown, marked, and in no mean."""

    pull_id: str
    setup_id: str
    taken_at: datetime
    file_name: str
    reason: str


@dataclass(frozen=True, slots=True)
class Judged:
    """One setup against the first."""

    first_id: str
    later_id: str
    verdict: Verdict
    own: tuple[OwnPart, ...]  # what does not cancel between the two
    soaked: tuple[str, ...]  # ids of those of the two where heat soak is suspected: read before a part is credited
    set_aside: tuple[SetAside, ...]  # of either


@dataclass(frozen=True, slots=True)
class Judgement:
    """Every later setup against the first. `band_rpm` is None where the setups share no speed to take a mean over."""

    band_rpm: Band | None
    shared_rpm: Band | None  # between which speeds a band may lie
    worth_pct: float
    judged: tuple[Judged, ...]


def judge(laid: Sequence[Laid], grid_rpm: Floats, asked: Asked, soaked: Collection[str] = ()) -> Judgement:
    """`laid`: in the comparison's order. Invalid where the band asked for does not lie on what all their pulls share.

    The first that has a pull that counts is what the others are judged against; one without any is not judged.
    """
    refuse_bad_asking(asked)
    counting = [one for one in laid if len(one.powers_w)]
    shared = _shared(counting, grid_rpm)
    band = None if shared is None else _band(shared, grid_rpm, asked)
    if band is None or not counting:
        return Judgement(band, shared, asked.worth_pct, ())
    sides = [_Side(one, sources_of(one.pulls), np.stack(one.powers_w), _taken_s(one.pulls)) for one in counting]
    judged = tuple(_against(sides[0], side, grid_rpm, band, asked.worth_pct, soaked) for side in sides[1:])
    return Judgement(band, shared, asked.worth_pct, judged)


def refuse_bad_asking(asked: Asked) -> None:
    """What no comparison could be judged by, before any pull is read."""
    low, high = asked.band_low_rpm, asked.band_high_rpm
    for name, value in (("band_low_rpm", low), ("band_high_rpm", high)):
        if value is not None and not (np.isfinite(value) and value > 0.0):
            raise Invalid(
                "A band lies between two speeds above 0 rev/min.", FieldProblem(name, value, "a speed in rev/min")
            )
    if low is not None and high is not None and not low < high:
        raise Invalid(
            f"The band from {low:g} to {high:g} rev/min ends before it begins.",
            FieldProblem("band_high_rpm", high, f"a speed above {low:g} rev/min"),
        )
    if not LEAST_WORTH_PCT <= asked.worth_pct <= MOST_WORTH_PCT:
        raise Invalid(
            f"A difference that matters of {asked.worth_pct:g} % will not do.",
            FieldProblem("worth_pct", asked.worth_pct, f"{LEAST_WORTH_PCT:g} to {MOST_WORTH_PCT:g} %"),
        )


def _shared(counting: Sequence[Laid], grid_rpm: Floats) -> Band | None:
    """From the lowest to the highest speed that every pull has a point at."""
    rows = [power for one in counting for power in one.powers_w]
    if not rows:
        return None
    shared = np.flatnonzero(np.isfinite(np.stack(rows)).all(axis=0))
    if len(shared) < _FEWEST_POINTS:
        return None
    return float(grid_rpm[shared[0]]), float(grid_rpm[shared[-1]])


def _band(shared: Band, grid_rpm: Floats, asked: Asked) -> Band:
    """As asked for; what is not said is the middle 80 % of what is shared, on whole grid points."""
    inside = grid_rpm[(grid_rpm >= shared[0]) & (grid_rpm <= shared[1])]
    skip = min(round(_TRIMMED * (len(inside) - 1)), (len(inside) - 2) // 2)
    low = float(inside[skip]) if asked.band_low_rpm is None else asked.band_low_rpm
    high = float(inside[-1 - skip]) if asked.band_high_rpm is None else asked.band_high_rpm
    reach = f"{shared[0]:g} to {shared[1]:g} rev/min"
    for name, value, fits in (
        ("band_low_rpm", low, shared[0] <= low < shared[1]),
        ("band_high_rpm", high, shared[0] < high <= shared[1]),
    ):
        if not fits:
            raise Invalid(
                f"The band from {low:g} to {high:g} rev/min does not lie on what all these pulls share: {reach}.",
                FieldProblem(name, value, f"a speed from {reach}"),
            )
    if not low < high:  # one end was asked for, beyond where the other lies by itself
        name, value = ("band_low_rpm", low) if asked.band_high_rpm is None else ("band_high_rpm", high)
        raise Invalid(
            f"The band from {low:g} to {high:g} rev/min ends before it begins.",
            FieldProblem(name, value, "both ends of the band"),
        )
    return low, high


@dataclass(frozen=True, slots=True)
class _Side:
    """A setup made ready once, however many it is judged with."""

    laid: Laid
    sources: Sequence[Sources]
    power_w: Floats
    taken_s: Floats


def _against(
    first: _Side, later: _Side, grid_rpm: Floats, band: Band, worth_pct: float, soaked: Collection[str]
) -> Judged:
    own = own_parts(first.sources, later.sources)
    taken = (first.taken_s, later.taken_s)
    found = verdict(first.power_w, later.power_w, grid_rpm, band, taken, worth_pct, together_pct(own))
    both = (first.laid, later.laid)
    aside = tuple(_aside(pull) for one in both for pull in one.set_aside)
    suspected = tuple(one.setup_id for one in both if one.setup_id in soaked)
    return Judged(both[0].setup_id, both[1].setup_id, found, own, suspected, aside)


def _taken_s(pulls: Sequence[ReadPull]) -> Floats:
    return np.array([pull.facts.taken_at.timestamp() for pull in pulls])


def _aside(pull: ReadPull) -> SetAside:
    facts = pull.facts
    return SetAside(facts.id, facts.setup_id, facts.taken_at, facts.file_name, facts.set_aside_reason or "")


def by_later(judgement: Judgement) -> Mapping[str, Judged]:
    """Each judged setup by its id."""
    return {one.later_id: one for one in judgement.judged}


__all__ = ["Asked", "Judged", "Judgement", "Laid", "SetAside", "by_later", "judge", "refuse_bad_asking"]
