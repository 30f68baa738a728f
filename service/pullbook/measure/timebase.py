"""The time base: strictly increasing, with what had to be done to make it so counted."""

from collections.abc import Mapping

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.measure.curveparts import Array, Indices, Mask, SweepError

_NO_GAPS: Indices = np.zeros(0, dtype=np.intp)
_GAP = 6.0  # a step this many times the usual one is a gap


@dataclass(frozen=True)
class TimeBase:
    """Channels on strictly increasing stamps; `step_s` is the usual step, `gaps` the indices after which one lies.
    `mended_s`: by the names of `counts`, when that was, s: the last good stamp before."""

    channels: Mapping[str, Array]
    step_s: float
    gaps: Indices
    counts: dict[str, int]
    mended_s: Mapping[str, Array]


def repaired(channels: Mapping[str, Array]) -> TimeBase:
    """Drop rows whose stamp is blank, repeats one or runs backward. SweepError without usable time."""
    if "time_s" not in channels:
        raise SweepError("There is no time channel; a sweep needs one (time in s, ms or clock time).")
    time = channels["time_s"]
    steps = time[1:] - time[:-1]
    counts: dict[str, int] = {}
    mended_s: dict[str, Array] = {}
    if len(steps) == 0 or not float(steps.min()) > 0.0:  # a blank stamp fails this too
        keep, counts, mended_s = _kept(time)
        if "roller_pulse_increments" in channels:  # a dropped row still saw its pulses
            running = np.cumsum(np.nan_to_num(channels["roller_pulse_increments"]))
            channels = {"roller_pulses": running, **channels}
        channels = {name: values[keep] for name, values in channels.items()}
        steps = np.diff(channels["time_s"])
    if len(steps) < 20:
        raise SweepError(f"Only {len(steps) + 1} rows have a usable time; a sweep needs at least 20.")
    some = np.sort(steps[:: max(1, len(steps) // 200)])  # enough to tell the usual step
    usual = float(some[len(some) // 2])
    gaps = np.flatnonzero(steps > _GAP * usual) if float(steps.max()) > _GAP * usual else _NO_GAPS
    if len(gaps):
        counts["time_gaps"] = len(gaps)
        mended_s["time_gaps"] = channels["time_s"][gaps]
    return TimeBase(channels, usual, gaps, counts, mended_s)


def _kept(time: Array) -> tuple[Mask, dict[str, int], dict[str, Array]]:
    finite = np.isfinite(time)
    filled = np.where(finite, time, -np.inf)
    before = np.concatenate(([-np.inf], np.maximum.accumulate(filled)[:-1]))
    forward = finite & (filled > before)
    seen = {
        "blank_stamps": ~finite,
        "repeated_stamps": finite & (filled == before),
        "backward_stamps": finite & (filled < before),
    }
    counts = {name: int(rows.sum()) for name, rows in seen.items()}
    met = {name: count for name, count in counts.items() if count}
    return forward, met, {name: before[seen[name]] for name in met}
