"""The shapes of what the archive answers."""

from typing import Literal

from pullbook.api.shaping import Answer, Instant


class FoundAnswer(Answer):
    """A pull that was found. `about_…`: as last read, rounded, to find by; its curve is the result.

    `is_due`: something that its figures are made from has changed since; they are read again when asked for.
    """

    pull_id: str
    taken_at: Instant
    kind: Literal["sweep", "hold", "coast_down", "part_throttle"]
    state: Literal["readable", "unreadable"]
    set_aside_reason: str | None
    notes: str
    ticket_id: str
    ticket_number: int
    customer_name: str
    make: str
    model: str
    model_year: int | None
    plate: str
    engine: str
    setup_id: str
    setup_name: str
    setup_position: int
    changed: str
    cell_name: str
    about_power_w: float | None
    about_torque_nm: float | None
    standard: str
    is_due: bool
    flags: list[str]


class MakeCount(Answer):
    """How many of the pulls counted are of this make."""

    make: str
    pulls: int


class YearCount(Answer):
    """How many of the pulls counted are of cars of this model year; null: not known."""

    model_year: int | None
    pulls: int


class CountedAnswer(Answer):
    """What the newest pulls found come to: a thousand at the most, and `more` says whether there are more."""

    pulls: int
    more: bool
    makes: list[MakeCount]
    model_years: list[YearCount]


class FoundList(Answer):
    """A page of pulls found; `counted` with the first page. `due`: pulls still to be read before figures find them."""

    items: list[FoundAnswer]
    next: str | None
    counted: CountedAnswer | None
    due: int


class FiguresAnswer(Answer):
    """How many pulls were read now, and how many are still due, counted to a thousand and one."""

    read: int
    due: int


class AlikeAnswer(Answer):
    """One pull of a car like it."""

    pull_id: str
    number: int
    setup_id: str
    air_density_kg_m3: float


class LikeAnswer(Answer):
    """What `like` meant: `by` model or engine, else engine family, and how near the air's density had to be."""

    pull_id: str
    by: Literal["model_or_engine", "engine_family", "nothing"]
    family: str
    air_density_kg_m3: float | None
    air_within_pct: float
    pulls: list[AlikeAnswer]
