"""Holding: the plateaus of one pull, each beside what the same setup's sweeps give at that engine speed."""

from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.db.evidence import Pull
from pullbook.late_methods import dataclass
from pullbook.measure.correction import STANDARDS
from pullbook.measure.curve import Curve, SweepError
from pullbook.measure.hold import HeldAt, Holds, HoldSettings, read_holds
from pullbook.measure.propagation import coverage_factor
from pullbook.runfile.channels import ChannelMapError
from pullbook.shop.facts import PullFacts
from pullbook.shop.joining import all_channels
from pullbook.shop.lagging import LagTaken, lags_of
from pullbook.shop.loading import Loaded, load_pulls
from pullbook.shop.reading import (
    ReadPull,
    ReadSettings,
    air_at,
    engine_of,
    read_loaded,
    refuse_unknown_standard,
    roller_calibration,
    stated_ratio,
)

HELD_KINDS = ("hold", "part_throttle")
MOST_OTHERS = 12
FULL_THROTTLE_PCT = 95.0
SOAK_CAUTION = (
    "A hold is not a sweep held still. A sweep also spins up what turns in the car, and the rollers never see that "
    "share: some per cent, more in low gears, so a hold reads higher. A hold heats the intake, the exhaust and the "
    "mixture, and reads lower as it lasts. Compare holds with holds; what is left between the two is not an error of "
    "either."
)


@dataclass(frozen=True)
class BesideSweeps:
    """What the setup's sweeps give at a plateau's engine speed: their mean, W, and the plateau's power less that.

    scatter_w: standard deviation of the sweeps, None of a single one. difference_u_w: expanded uncertainty (k = 2) of
    the difference, taking roller and brake to share nothing. why_not: why there is none.
    """

    sweeps: int
    power_w: float | None
    scatter_w: float | None
    difference_w: float | None
    difference_u_w: float | None
    why_not: str | None


@dataclass(frozen=True)
class PullHolds:
    """A pull's plateaus under one standard, or the plain reason why there are none."""

    facts: PullFacts
    holds: Holds | None
    beside: tuple[BesideSweeps, ...]  # one for each plateau
    lag: LagTaken | None
    failure: str | None
    sweeps: tuple[ReadPull, ...] = ()  # what they stand beside


def read_pull_holds(session: Session, pull_id: str, settings: ReadSettings) -> PullHolds:
    """The plateaus of one pull. NotFound for an unknown pull, Invalid for an unknown standard."""
    refuse_unknown_standard(settings.standard)
    loaded = load_pulls(session, [pull_id])[0]
    others = load_pulls(session, _other_ids(session, loaded))
    lag = lags_of([loaded, *others]).get(pull_id)
    holds, failure = None, _why_not(loaded)
    if failure is None:
        try:
            holds = _read(loaded, settings, lag)
        except (SweepError, ChannelMapError, LookupError) as error:
            failure = str(error)
    beside: tuple[BesideSweeps, ...] = ()
    curves: list[ReadPull] = []
    if holds is not None and holds.plateaus:
        curves = [read_loaded(one, settings) for one in others if one.facts.kind == "sweep"]
        seen = [one.curve for one in curves if one.curve is not None]
        beside = tuple(beside_sweeps(one, holds.standard, seen, len(curves)) for one in holds.plateaus)
    drawn = tuple(
        one
        for one in curves
        if one.curve is not None and one.curve.axis == "engine_speed" and holds and one.curve.standard == holds.standard
    )
    return PullHolds(loaded.facts, holds, beside, lag, failure, drawn)


def _other_ids(session: Session, loaded: Loaded) -> list[str]:
    """The latest pulls of the same setup and cell that count: sweeps to stand beside, the others for the lag."""
    statement = select(Pull.id).where(
        Pull.setup_id == loaded.facts.setup_id,
        Pull.cell_id == loaded.facts.cell_id,
        Pull.state == "readable",
        Pull.set_aside_at.is_(None),
        Pull.id != loaded.facts.id,
    )
    latest = statement.order_by(Pull.taken_at.desc(), Pull.id).limit(MOST_OTHERS)
    # each kind by itself: many of the one must not push the other out
    return [found for kind in ("sweep", "part_throttle") for found in session.scalars(latest.where(Pull.kind == kind))]


def _why_not(loaded: Loaded) -> str | None:
    facts = loaded.facts
    if facts.state != "readable" or loaded.columns is None or loaded.channel_map is None:
        return f"This pull is filed but cannot be read yet: {facts.unreadable_reason or 'its columns are not there'}"
    if loaded.calibration is None:
        return (
            f"{loaded.cell.name} had no calibration in force on {facts.taken_at:%Y-%m-%d %H:%M} UTC. "
            "Enter one that is valid from that date or before."
        )
    return None


def _read(loaded: Loaded, settings: ReadSettings, lag: LagTaken | None) -> Holds:
    if loaded.calibration is None:
        raise LookupError("what stands in the way is asked first")
    channels = all_channels(loaded)
    air = air_at(loaded)
    if air is not None and "manifold_gauge_kpa" in channels and "manifold_pressure_kpa" not in channels:
        channels["manifold_pressure_kpa"] = channels["manifold_gauge_kpa"] + air.pressure_kpa
    asked = HoldSettings(settings.standard, 0.0 if lag is None else lag.lag_s, stated_ratio(loaded))
    return read_holds(channels, roller_calibration(loaded.calibration), air, engine_of(loaded.ticket.vehicle), asked)


def beside_sweeps(one: HeldAt, standard: str, curves: Sequence[Curve], sweeps: int) -> BesideSweeps:
    """The sweeps at this plateau's engine speed; a plateau at part throttle has nothing to stand beside.

    `standard`: the plateaus'; `curves`: of those sweeps that can be read, of `sweeps` in all.
    """

    def without(reason: str) -> BesideSweeps:
        return BesideSweeps(0, None, None, None, None, reason)

    if one.engine_speed_rpm is None:
        return without("no engine speed")
    if one.throttle is not None and one.throttle.value < FULL_THROTTLE_PCT:
        return without(f"throttle at {one.throttle.value:.0f} %, sweeps are at full")
    speed, found, shares = one.engine_speed_rpm.value, [], []
    others: Counter[str] = Counter()
    for curve in curves:
        if curve.axis != "engine_speed":
            continue
        power = float(np.interp(speed, curve.engine_speed_rpm, curve.power_w, left=np.nan, right=np.nan))
        if np.isfinite(power) and curve.standard != standard:
            others[curve.standard] += 1
        elif np.isfinite(power):
            peak = curve.headline.peak_power_w
            found.append(power)
            shares.append(peak.expanded_uncertainty / peak.value)
    if not found:
        return without(_none_beside(standard, curves, others, sweeps))
    mean = float(np.mean(found))
    scatter = float(np.std(found, ddof=1)) if len(found) > 1 else None
    u_w = float(np.hypot(one.expanded_uncertainty_w, max(shares) * mean))
    if scatter is not None:
        u_w = float(np.hypot(u_w, coverage_factor(len(found) - 1.0) * scatter / len(found) ** 0.5))
    return BesideSweeps(len(found), mean, scatter, one.power_w - mean, u_w, None)


def _none_beside(standard: str, curves: Sequence[Curve], others: Mapping[str, int], sweeps: int) -> str:
    """Why no sweep stands beside a plateau at full throttle."""
    if not sweeps:
        return "no sweep of this setup yet"
    if not curves:
        return "no sweep of this setup can be read"
    if others:
        told = " and ".join(f"{count} under {STANDARDS[name].title}" for name, count in others.items())
        whole = sum(others.values())
        return (
            f"{whole} sweep{' passes' if whole == 1 else 's pass'} this speed under another standard ({told}); this "
            f"plateau is under {STANDARDS[standard].title}"
        )
    if all(curve.axis != "engine_speed" for curve in curves):
        return "the sweeps of this setup have no engine speed"
    return "no sweep of this setup passes this speed"
