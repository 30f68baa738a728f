"""What the comparison's template is told of verdicts."""

from datetime import datetime

from pullbook.late_methods import dataclass


@dataclass(frozen=True)
class VerdictLine:
    """One setup against the first, in words and in the shop's units."""

    place: int
    name: str
    kind: str  # gain, loss, no_difference, not_enough_pulls
    title: str  # the verdict itself
    figures: str  # the difference with its interval
    over: str  # the band, in words
    cautions: tuple[str, ...]  # to be read before it is put down to a part
    why: str
    details: tuple[str, ...]  # pulls and method, scatter, what so many pulls can show


@dataclass(frozen=True)
class AsideLine:
    """A pull that is in no mean, and why."""

    place: int
    pull_id: str
    taken_at: datetime
    reason: str


@dataclass(frozen=True)
class VerdictPart:
    """Every verdict of a comparison, with what holds for all of them."""

    lines: tuple[VerdictLine, ...] = ()
    without: str = ""  # why there is no verdict, where several setups are compared and there is none
    common: str = ""  # what cancels in a difference and what does not
    aside: tuple[AsideLine, ...] = ()


@dataclass(frozen=True)
class JudgedBy:
    """The band and the share that matters: as typed, and what stands for them where nothing was typed."""

    low: str
    high: str
    worth: str
    usual_low: str
    usual_high: str
    reach: str  # between which speeds a band may lie, in words; empty where none may
    low_rpm: float | None = None  # the band in force, for the chart
    high_rpm: float | None = None
    least_rpm: float | None = None
    most_rpm: float | None = None
