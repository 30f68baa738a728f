"""Comparing setups: every pull on one grid of engine speed, what differed in the conditions said first."""

from collections.abc import Collection, Sequence

import numpy as np
from sqlalchemy.orm import Session

from pullbook.errors import FieldProblem, Invalid
from pullbook.late_methods import dataclass
from pullbook.measure import METHOD_VERSION
from pullbook.measure.correction import STANDARDS
from pullbook.measure.curve import Flag
from pullbook.shop.conditions import Condition, conditions_of
from pullbook.shop.facts import Floats, OnGrid, TicketFacts
from pullbook.shop.heat_soaking import heat_soak
from pullbook.shop.judging import Asked, Judged, Judgement, Laid, judge
from pullbook.shop.reading import ReadPull, ReadSettings, read_pulls
from pullbook.shop.tracing import digest_of

MOST_PULLS = 60


@dataclass(frozen=True, slots=True)
class SetupRead:
    """One setup with its pulls, oldest first, and the mean of those that count."""

    setup_id: str
    ticket_number: int
    name: str
    position: int
    place: int  # its letter here: its position, but counted on over several tickets, so that no letter stands for two
    called: str  # its name, with its ticket where several are compared
    changed: str
    gear: str
    tyre_pressure_kpa: float | None
    fuel: str
    pulls: tuple[ReadPull, ...]
    counting: tuple[ReadPull, ...]  # of these, those in the mean: under the one standard, on the one axis
    mean: OnGrid | None  # on the common grid; None when no pull counts

    @property
    def counted(self) -> int:
        """How many pulls the mean is of."""
        return len(self.counting)

    @property
    def standing(self) -> tuple[ReadPull, ...]:
        """The pulls that were read as a curve and are not set aside."""
        return tuple(pull for pull in self.pulls if pull.curve is not None and pull.facts.set_aside_at is None)


@dataclass(frozen=True, slots=True)
class Comparison:
    """Several pulls read under one standard on one common grid, by setup."""

    tickets: tuple[TicketFacts, ...]  # usually one
    standard: str
    standard_title: str
    step_rpm: float
    window_s: float | None  # None: chosen for each pull from its own data
    axis: str  # what the grid is of: engine_speed, or roller_speed where no pull that counts knows its engine's
    engine_speed_rpm: Floats  # the common grid on that axis, whole multiples of step_rpm
    setups: tuple[SetupRead, ...]
    conditions: tuple[Condition, ...]  # what was not the same throughout
    alike: tuple[Condition, ...]  # what was
    judgement: Judgement  # each later setup against the first
    method_version: str
    flags: tuple[Flag, ...]  # about the comparison as a whole; each pull carries its own
    digest: str

    @property
    def ticket(self) -> TicketFacts:
        """The ticket most pages are about: the first pull's."""
        return self.tickets[0]

    @property
    def judged(self) -> tuple[Judged, ...]:
        """Each later setup against the first, as far as both have pulls that count."""
        return self.judgement.judged

    @property
    def pulls(self) -> tuple[ReadPull, ...]:
        """Every pull, setup by setup."""
        return tuple(pull for setup in self.setups for pull in setup.pulls)


def compare(
    session: Session, pull_ids: Sequence[str], settings: ReadSettings, asked: Asked | None = None
) -> Comparison:
    """Read these pulls, lay them on one grid and judge them; NotFound and Invalid as in `read_pulls` and `judge`."""
    if not 1 <= len(pull_ids) <= MOST_PULLS:
        raise Invalid(
            f"{len(pull_ids)} pulls were named.",
            FieldProblem("pull_id", len(pull_ids), f"from 1 to {MOST_PULLS} pulls"),
        )
    return compared(read_pulls(session, pull_ids, settings), settings, asked)


def compared(pulls: Sequence[ReadPull], settings: ReadSettings, asked: Asked | None = None) -> Comparison:
    """Lay pulls that were read alike on one grid, setup by setup, in the order of tickets and positions."""
    axes = {_axis(pull) for pull in pulls if _counts(pull, settings.standard)}
    axis = _compared_axis(pulls, axes)
    grid = common_grid([pull for pull in pulls if _axis(pull) == axis], settings.step_rpm)
    by_setup: dict[str, list[ReadPull]] = {}
    for pull in sorted(pulls, key=lambda one: (one.ticket.number, one.setup.position, one.facts.taken_at)):
        by_setup.setdefault(pull.facts.setup_id, []).append(pull)
    tickets = tuple({pull.ticket.id: pull.ticket for pull in pulls}.values())
    places = {setup_id: place if len(tickets) > 1 else None for place, setup_id in enumerate(by_setup)}
    setups, rows = [], []
    for setup_id, members in by_setup.items():
        counted = [pull for pull in members if _counts(pull, settings.standard) and _axis(pull) == axis]
        laid = [pull.on_grid(grid) for pull in counted]
        aside = [pull for pull in members if pull.facts.set_aside_at is not None]
        rows.append(Laid(setup_id, counted, [curve.power_w for curve in laid], aside))
        setups.append(_setup_read(members, counted, laid, places[setup_id]))
    soaked = {setup.setup_id: heat_soak(f"“{setup.called}”", setup.pulls, settings.standard) for setup in setups}
    hot = {setup_id: flag for setup_id, flag in soaked.items() if flag is not None}
    conditions = conditions_of([pull for members in by_setup.values() for pull in members])
    return Comparison(
        tickets=tickets,
        standard=settings.standard,
        standard_title=STANDARDS[settings.standard].title,
        step_rpm=settings.step_rpm,
        window_s=settings.window_s,
        axis=axis,
        engine_speed_rpm=grid,
        setups=tuple(setups),
        conditions=tuple(one for one in conditions if one.differs),
        alike=tuple(one for one in conditions if not one.differs),
        judgement=judge(rows, grid, asked or Asked(), hot),
        method_version=METHOD_VERSION,
        flags=(*hot.values(), *_flags(pulls, settings.standard, axes)),
        digest=digest_of([pull.digest for pull in pulls]),
    )


def common_grid(pulls: Sequence[ReadPull], step_rpm: float) -> Floats:
    """Whole multiples of the step from the lowest to the highest speed that any curve has; empty without a curve."""
    curves = [pull.curve for pull in pulls if pull.curve is not None and len(pull.curve.engine_speed_rpm)]
    if not curves:
        return np.empty(0)
    first = min(round(curve.engine_speed_rpm[0] / step_rpm) for curve in curves)
    last = max(round(curve.engine_speed_rpm[-1] / step_rpm) for curve in curves)
    return np.arange(first, last + 1, dtype=np.float64) * step_rpm


def _counts(pull: ReadPull, standard: str) -> bool:
    """Whether a pull belongs in a mean: read, not set aside, and really under the standard of the comparison."""
    return pull.curve is not None and pull.facts.set_aside_at is None and pull.curve.standard == standard


def _axis(pull: ReadPull) -> str:
    return "" if pull.curve is None else pull.curve.axis


def _compared_axis(pulls: Sequence[ReadPull], counting: Collection[str]) -> str:
    """Engine speed where any pull that counts has it; of the others only where none counts."""
    known = counting or {_axis(pull) for pull in pulls if pull.curve is not None}
    return "roller_speed" if known and "engine_speed" not in known else "engine_speed"


def _setup_read(
    pulls: Sequence[ReadPull], counting: Sequence[ReadPull], laid: Sequence[OnGrid], place: int | None
) -> SetupRead:
    """`laid`: the curves that count, on the common grid. `place`: among several tickets, else none."""
    setup, number = pulls[0].setup, pulls[0].ticket.number
    return SetupRead(
        setup_id=setup.id,
        ticket_number=number,
        name=setup.name,
        position=setup.position,
        place=setup.position if place is None else place,
        called=setup.name if place is None else f"{setup.name}, ticket {number}",
        changed=setup.changed,
        gear=setup.gear,
        tyre_pressure_kpa=setup.tyre_pressure_kpa,
        fuel=setup.fuel,
        pulls=tuple(pulls),
        counting=tuple(counting),
        mean=mean_of(laid),
    )


def mean_of(curves: Sequence[OnGrid]) -> OnGrid | None:
    """The mean where every curve has a point – over a changing company it would jump where one of them ends.

    `spread_w` is the standard deviation between the curves (n - 1); NaN for a single one.
    """
    if not curves:
        return None
    powers = np.stack([curve.power_w for curve in curves])
    spread = np.full(powers.shape[1], np.nan) if len(curves) < 2 else powers.std(axis=0, ddof=1)
    shared = set.intersection(*(set(curve.channels) for curve in curves))
    return OnGrid(
        power_w=powers.mean(axis=0),
        observed_power_w=np.mean([curve.observed_power_w for curve in curves], axis=0),
        torque_nm=np.mean([curve.torque_nm for curve in curves], axis=0),
        spread_w=spread,
        channels={name: np.mean([curve.channels[name] for curve in curves], axis=0) for name in sorted(shared)},
    )


def _flags(pulls: Sequence[ReadPull], standard: str, axes: Collection[str]) -> tuple[Flag, ...]:
    found = []
    other = [pull for pull in pulls if pull.curve is not None and pull.curve.standard != standard]
    if other:
        text = (
            f"{len(other)} of {len(pulls)} pulls could not be corrected by {STANDARDS[standard].title} and are shown "
            "as observed; they are left out of the means. Enter the weather of their day, or compare all as observed."
        )
        found.append(Flag("mixed_correction", text))
    if len(axes) > 1:
        text = (
            "Some pulls have engine speed and some only roller speed; the latter are left out of the means. "
            "State the ratio of the gear in their setup."
        )
        found.append(Flag("mixed_axis", text))
    failed = sum(1 for pull in pulls if pull.curve is None)
    if failed:
        found.append(Flag("without_curve", f"{failed} of {len(pulls)} pulls have no curve; each says why."))
    outside = [
        pull
        for pull in pulls
        if pull.curve is not None and pull.curve.factor is not None and not pull.curve.factor_valid
    ]
    if outside:
        text = f"The factor of {len(outside)} of {len(pulls)} pulls lies outside the standard's own limits."
        found.append(Flag("factor_outside_limits", f"{text} Compare as observed too before anything is concluded."))
    return tuple(found)


__all__ = ["Comparison", "Condition", "SetupRead", "common_grid", "compare", "compared", "mean_of"]
