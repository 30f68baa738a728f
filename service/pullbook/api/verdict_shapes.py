"""Verdicts between setups: the shapes of what is answered."""

from typing import Literal

from pullbook.api.shaping import Answer, Instant

Values = list[float | None]


class MeanPowerAnswer(Answer):
    """A setup's counted pulls over the band; the scatter is the standard deviation of single pulls, null for one."""

    mean_power_w: float
    scatter_w: float | None
    counted: int


class DifferenceAnswer(Answer):
    """A setup less the first one, as mean power over the band: as asked for, or the middle of what all pulls share."""

    first_setup_id: str
    later_setup_id: str
    band_rpm: tuple[float, float]
    difference_w: float
    first: MeanPowerAnswer
    later: MeanPowerAnswer


class PointwiseAnswer(Answer):
    """The difference at each engine speed of the comparison, with its 95 % interval; null where a pull has no point."""

    difference_w: Values
    low_w: Values
    high_w: Values


class OwnPartAnswer(Answer):
    """What two setups do not share (two cells, two calibrations): a standard uncertainty, in %, within the interval."""

    code: str
    words: str
    u_pct: float


class SetAsideAnswer(Answer):
    """A pull of either setup that is in no mean, and why."""

    pull_id: str
    setup_id: str
    taken_at: Instant
    file_name: str
    reason: str


class VerdictAnswer(DifferenceAnswer):
    """Whether a setup gives more than the first, by the 95 % interval of the difference of mean power over the band.

    `gain` and `loss`: the interval lies on one side of zero. `no_difference`: it holds zero and nothing beyond
    ± `worth_pct`. `not_enough_pulls`: it holds both. Shares are of the first setup. `method` is `paired` where the
    pulls went back and forth between the setups: then a steady drift from pull to pull is taken out.
    `smallest_shown_…` is the difference that so many pulls show nine times in ten, `pulls_for_…` how many more of each
    setup it takes; null where more than 60 would. A single pull has no scatter: interval and what follows are null.
    """

    verdict: Literal["gain", "loss", "no_difference", "not_enough_pulls"]
    text: str
    method: Literal["welch", "paired"]
    pairs: int
    worth_pct: float
    difference_pct: float
    interval_w: tuple[float, float] | None
    interval_pct: tuple[float, float] | None
    degrees_of_freedom: float | None
    smallest_shown_w: float | None
    smallest_shown_pct: float | None
    pulls_for_1_pct: int | None
    pulls_for_worth: int | None
    own_parts: list[OwnPartAnswer]
    heat_soak_suspected_in: list[str]
    pointwise: PointwiseAnswer
    set_aside: list[SetAsideAnswer]
