"""Tracking: timed runs on a strip beside the pulls of the same setups. Plausibility, never a measurement of power."""

from collections.abc import Sequence
from datetime import datetime
from math import sqrt

from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.db.tables import Setup, Staff
from pullbook.db.tuning import TrackRun
from pullbook.late_methods import dataclass
from pullbook.measure.track import RULES, SPREAD, USUAL_RULE, Gathered, Implied, gathered, implied_powers, plausible
from pullbook.shop.reading import ReadPull

CAUTION = (
    f"A check of plausibility only: {RULES[USUAL_RULE].title}’s rule, which road tests of rated engine power follow to "
    f"± {100.0 * SPREAD:.0f} % (one standard deviation). Rated power is the engine’s; wheel power usually lies up to a "
    "quarter below it (common practice). Trap speed counts where it was timed: elapsed time hangs on the launch. A "
    "difference between two setups of one car on one strip is better known than either figure."
)
_WORDS = {
    "plausible": "Fits: what the runs imply and the wheel power measured do not contradict each other.",
    "wheel_high": "Wheel power is higher than the runs can explain. Look at mass, launch and shifts, then at the "
    "calibration of the rollers.",
    "wheel_low": "Wheel power is lower than the runs can explain. Look at mass and distance as entered, then at slip "
    "on the rollers and their calibration.",
}


@dataclass(frozen=True)
class TrackFacts:
    """One run as it was entered, and what it implies by the usual rule."""

    id: str
    ticket_id: str
    setup_id: str
    setup_name: str
    setup_position: int
    ran_at: datetime
    mass_kg: float
    distance_m: float
    elapsed_s: float | None
    trap_speed_m_s: float | None
    air_temperature_c: float | None
    station_pressure_kpa: float | None
    surface: str
    notes: str
    set_aside_reason: str | None
    made_at: datetime
    made_by_name: str
    version: int

    @property
    def implied(self) -> tuple[Implied, ...]:
        """By elapsed time, by trap speed, or both."""
        return implied_powers(self.mass_kg, self.distance_m, self.elapsed_s, self.trap_speed_m_s)

    @property
    def power(self) -> Implied:
        """By trap speed where it was timed, else by elapsed time."""
        return self.implied[-1]


@dataclass(frozen=True)
class OnTrack:
    """One setup's runs that count, beside its pulls that count."""

    setup_id: str
    name: str
    position: int
    track: Gathered  # rated power by the rule, W
    wheel: Gathered | None  # observed peak power at the wheels, W; None without a pull that counts
    change: float | None  # of the runs' power against the first setup with runs, as a share; None for that one
    change_u: float | None  # its standard uncertainty from the scatter of runs; None where a setup has only one
    wheel_change: float | None  # the same of the pulls

    @property
    def judged(self) -> str | None:
        """How wheel power stands to it: plausible, wheel_high, wheel_low; None without pulls."""
        return None if self.wheel is None else plausible(self.track.power_w, self.wheel.power_w)

    @property
    def words(self) -> str:
        """The same in a sentence."""
        if self.judged is None:
            return "No pull of this setup counts, so there is no wheel power beside it."
        return _WORDS[self.judged]


_WORKED_OUT = ("setup_name", "setup_position", "made_by_name")
_NAMES = tuple(name for name in TrackFacts.__dataclass_fields__ if name not in _WORKED_OUT)
SELECTED = (
    select(
        *(getattr(TrackRun, name) for name in _NAMES),
        Setup.name.label("setup_name"),
        Setup.position.label("setup_position"),
        Staff.full_name.label("made_by_name"),
    )
    .join(Setup, Setup.id == TrackRun.setup_id)
    .join(Staff, Staff.id == TrackRun.made_by)
)


def track_runs(session: Session, ticket_id: str) -> tuple[TrackFacts, ...]:
    """A ticket's runs, oldest first."""
    rows = session.execute(SELECTED.where(TrackRun.ticket_id == ticket_id).order_by(TrackRun.ran_at, TrackRun.id))
    return tuple(TrackFacts(**row._mapping) for row in rows)


def track_run(session: Session, run_id: str) -> TrackFacts | None:
    """One run; None where there is none."""
    row = session.execute(SELECTED.where(TrackRun.id == run_id)).one_or_none()
    return None if row is None else TrackFacts(**row._mapping)


def beside_pulls(runs: Sequence[TrackFacts], pulls: Sequence[ReadPull]) -> tuple[OnTrack, ...]:
    """Each setup that has a run which counts, baseline first, beside its own pulls. `pulls`: read in any order."""
    counting = [run for run in runs if run.set_aside_reason is None]
    found: list[OnTrack] = []
    for run in sorted(counting, key=lambda one: one.setup_position):
        if found and found[-1].setup_id == run.setup_id:
            continue
        track = gathered([one.power.power_w for one in counting if one.setup_id == run.setup_id])
        if track is not None:
            wheel = gathered([power for pull in pulls if (power := _observed_peak_w(pull, run.setup_id)) is not None])
            found.append(_on_track(run, track, wheel, found[0] if found else None))
    return tuple(found)


def _on_track(run: TrackFacts, track: Gathered, wheel: Gathered | None, first: OnTrack | None) -> OnTrack:
    change = wheel_change = change_u = None
    if first is not None:
        change = track.power_w / first.track.power_w - 1.0
        parts = [one.scatter_w and one.scatter_w**2 / one.counted / one.power_w**2 for one in (first.track, track)]
        if parts[0] is not None and parts[1] is not None:
            change_u = (1.0 + change) * sqrt(parts[0] + parts[1])
        if wheel is not None and first.wheel is not None:
            wheel_change = wheel.power_w / first.wheel.power_w - 1.0
    return OnTrack(run.setup_id, run.setup_name, run.setup_position, track, wheel, change, change_u, wheel_change)


def _observed_peak_w(pull: ReadPull, setup_id: str) -> float | None:
    """Peak power before the factor: what the rollers measured in their own air."""
    curve = pull.curve
    if curve is None or pull.facts.set_aside_at is not None or pull.facts.setup_id != setup_id:
        return None
    return curve.headline.peak_power_w.value / (curve.factor or 1.0)
