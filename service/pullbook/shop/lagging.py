"""Lagging: how late measured λ is in each of some pulls of one car.

Found in each pull's own sweep, or whole run at part throttle, where the command moves and λ follows. A pull that shows
none takes the mean of those that do, weighted by how sure they are; where none does, the usual figure stands in.
"""

from collections.abc import Mapping, Sequence

from pullbook.late_methods import dataclass
from pullbook.measure.alignment import ProbeLag, probe_lag
from pullbook.measure.curve import SweepError
from pullbook.measure.probelag import STATED_U_S
from pullbook.measure.rollerspeed import roller_signal
from pullbook.measure.sweep import find_sweep
from pullbook.measure.timebase import repaired
from pullbook.runfile.channels import ChannelMapError
from pullbook.shop.facts import Floats
from pullbook.shop.joining import all_channels
from pullbook.shop.loading import Loaded
from pullbook.shop.reading import roller_calibration

_NEEDED = frozenset(
    {
        *("time_s", "roller_speed_rad_s", "roller_surface_speed_m_s", "roller_pulses", "roller_pulse_increments"),
        *("engine_speed_rpm", "throttle_pct", "lambda_commanded", "lambda_measured"),
    }
)


@dataclass(frozen=True)
class LagTaken:
    """By how much measured λ of a pull is taken to be late, in s, and by what: own, others, usual, given."""

    lag_s: float
    u_s: float
    by: str
    reason: str | None


def lags_of(loaded: Sequence[Loaded], given_s: float | None = None) -> dict[str, LagTaken]:
    """By pull id; only readable pulls are in it, and where nothing is given, those with measured λ."""
    if given_s is not None:
        given = LagTaken(given_s, STATED_U_S, "given", "The lag was given by hand.")
        return {one.facts.id: given for one in loaded if one.facts.state == "readable"}
    seen = {one.facts.id: one for one in loaded if one.facts.state == "readable"}
    found = {pull_id: lag for pull_id, one in seen.items() if (lag := _own(one)) is not None}
    sure = [lag for pull_id, lag in found.items() if lag.found and seen[pull_id].facts.set_aside_at is None]
    return {pull_id: _taken(lag, sure) for pull_id, lag in found.items()}


def _taken(lag: ProbeLag, sure: Sequence[ProbeLag]) -> LagTaken:
    if lag.found:
        return LagTaken(lag.lag_s, lag.u_s, "own", None)
    if not sure:
        return LagTaken(lag.lag_s, lag.u_s, "usual", lag.reason)
    weights = [1.0 / one.u_s**2 for one in sure]
    mean = sum(weight * one.lag_s for weight, one in zip(weights, sure, strict=True)) / sum(weights)
    u_s = max(max(one.u_s for one in sure), 0.5 * (max(one.lag_s for one in sure) - min(one.lag_s for one in sure)))
    return LagTaken(mean, u_s, "others", lag.reason)


def _own(loaded: Loaded) -> ProbeLag | None:
    try:
        channels = all_channels(loaded, _NEEDED)
        if "lambda_measured" not in channels or "time_s" not in channels:
            return None
        return probe_lag(channels, _looked_at(loaded, channels))
    except (LookupError, ChannelMapError, SweepError):
        return None


def _looked_at(loaded: Loaded, channels: Mapping[str, Floats]) -> tuple[float, float]:
    """From when to when the lag is looked for: a sweep's full throttle, the whole of anything else."""
    time = channels["time_s"]
    whole = float(time[0]), float(time[-1])
    if loaded.facts.kind != "sweep" or loaded.calibration is None:
        return whole
    try:
        base = repaired(channels)
        found = find_sweep(base, roller_signal(base.channels, roller_calibration(loaded.calibration)))
    except SweepError:
        return whole
    return float(base.channels["time_s"][found.start]), float(base.channels["time_s"][found.stop - 1])
