"""Where the sweep is: the longest stretch of full throttle, or of steady rise where throttle is unknown, trimmed."""

from collections.abc import Mapping

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.measure.curveparts import Array, Flag, Mask, SweepError
from pullbook.measure.rollerspeed import RollerSignal
from pullbook.measure.timebase import TimeBase

_FULL = 0.97  # of the most throttle held
_HELD_S = 0.2  # in all: a wild sample or noise above it is not how far the throttle was open
_BLINK_S = 0.08  # a throttle seen lower for less than this is its sensor's noise, not a foot
_TRIM_S = 0.05  # the drivetrain is still winding up
_LONG_GAP_S = 0.5  # nothing is known about what happened in a gap this long
_STEADY = 0.15  # of the usual acceleration
_ENOUGH_ROWS = 30


@dataclass(frozen=True)
class Stretch:
    """Rows `start` to `stop` (not included) are the sweep."""

    start: int
    stop: int
    flags: tuple[Flag, ...]


def find_sweep(base: TimeBase, signal: RollerSignal) -> Stretch:
    """The rows of the sweep. SweepError where the roller is never driven steadily faster."""
    time, speed = base.channels["time_s"], signal.speed_rad_s
    throttle = _throttle(base.channels)
    flags: list[Flag] = []
    most = None if throttle is None else _most_held(throttle, base.step_s)
    if most is not None and most < 50.0:
        flags.append(
            Flag(
                "closed_throttle",
                f"Throttle never passes {most:.0f} % in {time[-1] - time[0]:.1f} s: this is not a full-throttle sweep, "
                "or the throttle channel is not in %. The steady rise of the roller was taken instead; check the "
                "channel's unit, or pull again with the throttle all open.",
            )
        )
        most = None
    driven = _rising(time, speed) if throttle is None or most is None else throttle >= _FULL * most
    blink_rows = 0 if most is None else max(1, int(_BLINK_S / base.step_s))
    start, stop, others = _longest(driven, base, speed, blink_rows)
    flags.extend(_interruptions(time, speed, (start, stop), others))
    start, stop = _trimmed(base, speed, start, stop)
    if stop - start < _ENOUGH_ROWS:
        raise SweepError(
            f"The longest stretch of full throttle or steady rise has only {max(stop - start, 0)} rows; a sweep needs "
            f"{_ENOUGH_ROWS}. Record faster, or check which columns are time, throttle and roller speed."
        )
    gain = float(speed[stop - 1] - speed[start])
    if not (speed[start] > 0.0 and gain > 0.1 * float(speed[start])):
        raise SweepError(
            f"The roller goes from {speed[start]:.1f} to {speed[stop - 1]:.1f} rad/s in the driven stretch: it never "
            "gets steadily faster, so there is no sweep here. Is it a hold or a coast-down?"
        )
    flags.extend(_short(time[[start, stop - 1]], float(speed[stop - 1] / speed[start])))
    return Stretch(start, stop, tuple(flags))


def _short(when_s: Array, rises: float) -> list[Flag]:
    """`when_s`: first and last moment; `rises`: by what factor the roller speeds up between them."""
    lasts = float(when_s[1] - when_s[0])
    if lasts >= 2.5 and rises >= 1.4:
        return []
    return [
        Flag(
            "short_sweep",
            f"The sweep lasts {lasts:.1f} s, from {when_s[0]:.1f} to {when_s[1]:.1f} s, and the roller speeds up by a "
            f"factor of {rises:.2f}: its figures are less certain than usual. Start lower, go higher, or use a higher "
            "gear.",
        )
    ]


def _throttle(channels: Mapping[str, Array]) -> Array | None:
    throttle = channels.get("throttle_pct")
    if throttle is None:
        return None
    finite = np.isfinite(throttle)
    if finite.all():
        return throttle
    if not finite.any():
        return None
    return np.interp(channels["time_s"], channels["time_s"][finite], throttle[finite])


def _most_held(throttle: Array, step_s: float) -> float:
    rows = min(max(1, round(_HELD_S / step_s)), len(throttle))
    return float(np.partition(throttle, -rows)[-rows])


def _rising(time: Array, speed: Array) -> Mask:
    """Rows in tenths of a second where the roller gains at a good part of its usual pace."""
    edges = np.arange(time[0], time[-1], 0.1)
    if len(edges) < 8:
        return np.ones(len(time), dtype=bool)
    pace = np.diff(np.interp(edges, time, speed))
    pace = np.convolve(np.pad(pace, 1, mode="edge"), np.full(3, 1.0 / 3.0), "valid")
    usual = float(np.quantile(pace, 0.9))
    part = np.clip(np.searchsorted(edges, time, side="right") - 1, 0, len(pace) - 1)
    made: Mask = (pace > _STEADY * usual)[part]
    return made


def _longest(driven: Mask, base: TimeBase, speed: Array, blink_rows: int) -> tuple[int, int, list[tuple[int, int]]]:
    """The run of driven rows over which the roller gains most, and the other runs. Long gaps in time end a run; up to
    `blink_rows` rows between two runs do not."""
    turns = np.flatnonzero(driven[1:] != driven[:-1]) + 1
    if driven[0]:
        turns = np.concatenate(([0], turns))
    if driven[-1]:
        turns = np.concatenate((turns, [len(driven)]))
    starts, stops = turns[::2], turns[1::2]
    if blink_rows and len(starts) > 1:
        apart = starts[1:] - stops[:-1] > blink_rows
        starts, stops = starts[np.append(True, apart)], stops[np.append(apart, True)]
    runs = list(zip(starts.tolist(), stops.tolist(), strict=True))
    time = base.channels["time_s"]
    for gap in base.gaps.tolist():
        if time[gap + 1] - time[gap] > _LONG_GAP_S:
            runs = [part for run in runs for part in _split(run, gap + 1)]
    runs = [run for run in runs if run[1] - run[0] > 2]
    if not runs:
        raise SweepError("No stretch of full throttle or steady rise was found; is this a sweep?")
    best = max(runs, key=lambda run: (speed[run[1] - 1] - speed[run[0]], run[1] - run[0]))
    return best[0], best[1], [run for run in runs if run != best]


def _split(run: tuple[int, int], row: int) -> list[tuple[int, int]]:
    return [(run[0], row), (row, run[1])] if run[0] < row < run[1] else [run]


def _interruptions(time: Array, speed: Array, best: tuple[int, int], others: list[tuple[int, int]]) -> list[Flag]:
    """Another stretch that gained a good part of what the chosen one did."""
    gained = float(speed[best[1] - 1] - speed[best[0]])
    for start, stop in others:
        if float(speed[stop - 1] - speed[start]) > 0.15 * gained:
            return [
                Flag(
                    "interrupted_sweep",
                    f"The pull was driven in more than one stretch: {time[start]:.1f} to {time[stop - 1]:.1f} s as "
                    f"well as {time[best[0]]:.1f} to {time[best[1] - 1]:.1f} s. The longest is read; pull in one go.",
                )
            ]
    return []


def _trimmed(base: TimeBase, speed: Array, start: int, stop: int) -> tuple[int, int]:
    """Cut the ends: the first and last moments, and what lies before the lowest or after the highest speed."""
    time = base.channels["time_s"]
    within = 0.25 * base.step_s  # so that a stamp's last digit does not decide which row is the first
    top, bottom = float(speed[start:stop].max()), float(speed[start:stop].min())
    margin = 1e-3 * (top - bottom)
    high = start + int(np.argmax(speed[start:stop] >= top - margin))
    low_rows = np.flatnonzero(speed[start : high + 1] <= bottom + margin)
    low = start + int(low_rows[-1]) if len(low_rows) else start
    first = int(np.searchsorted(time, time[low] + _TRIM_S - within))
    last = int(np.searchsorted(time, time[high] - 0.4 * _TRIM_S + within))
    return first, last
