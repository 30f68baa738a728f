"""How fast the roller turns, from whichever channel says so: rad/s, surface speed, or pulses.

Pulses are kept as an *angle*: a count is exact to one pulse however long one looks, so a fit to the angle gains with
the width of its window what a fit to the speed in each sample has already thrown away.
"""

from collections.abc import Mapping
from math import pi

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.measure.curveparts import Array, Mask, RollerCalibration, SweepError

_ROUND = tuple(sorted([2.0**bits for bits in range(8, 33)] + [10.0**digits for digits in range(3, 10)]))
_WILD = 6.0  # times the usual most, and pulses: no roller gains so much between two samples, however stamps jitter


@dataclass(frozen=True)
class RollerSignal:
    """`values`: speed in rad/s (`derivative` 1: acceleration is its slope) or angle in rad (`derivative` 2).

    `speed_rad_s` is a rough speed for every row, for finding the sweep. `quantum` is the angle of one pulse, rad.
    `mended_s`: by the names of `counts`, when samples were mended, s.
    """

    values: Array
    derivative: int
    speed_rad_s: Array
    source: str
    quantum: float
    counts: dict[str, int]
    mended_s: Mapping[str, Array]


def roller_signal(channels: Mapping[str, Array], calibration: RollerCalibration) -> RollerSignal:
    """The best of what is there: speed, then pulses, then surface speed. SweepError where there is none."""
    if "roller_speed_rad_s" in channels:
        return _speed(channels["roller_speed_rad_s"], channels["time_s"], "roller_speed_rad_s")
    for name in ("roller_pulses", "roller_pulse_increments"):
        if name in channels:
            return _angle(channels[name], channels["time_s"], name, calibration)
    if "roller_surface_speed_m_s" in channels:
        values = channels["roller_surface_speed_m_s"] / calibration.roller_radius_m
        return _speed(values, channels["time_s"], "roller_surface_speed_m_s")
    raise SweepError(
        "There is no roller speed: power needs a roller speed, a roller surface speed or a roller pulse count."
    )


def _speed(values: Array, time: Array, source: str) -> RollerSignal:
    """A speed as it is, with blanks and single wild samples replaced from their neighbours and counted."""
    counts: dict[str, int] = {}
    away = np.abs(values[1:-1] - 0.5 * (values[:-2] + values[2:]))
    if float(away.max()) <= 0.1 * float(np.add.reduce(values)) / len(values):  # most pulls; a blank fails this
        return RollerSignal(values, 1, values, source, 0.0, counts, {})
    mended_s: dict[str, Array] = {}
    finite = np.isfinite(values)
    if not finite.all():
        if int(finite.sum()) < 20:
            raise SweepError("Roller speed is blank almost everywhere; check which column is roller speed.")
        counts["roller_speed_blanks"] = int((~finite).sum())
        mended_s["roller_speed_blanks"] = time[~finite]
        values = np.interp(time, time[finite], values[finite])
        away = np.abs(values[1:-1] - 0.5 * (values[:-2] + values[2:]))
    high = int(0.98 * (len(values) - 1))
    top = float(np.partition(values, high)[high])
    wild = away > 0.1 * top  # no roller loses a tenth of its top speed between two samples
    if wild.any():
        good = np.ones(len(values), dtype=bool)
        good[1:-1] = ~wild | (np.abs(values[1:-1] - _middle_of_five(values)[1:-1]) < 0.05 * top)
        counts["roller_speed_spikes"] = int((~good).sum())
        mended_s["roller_speed_spikes"] = time[~good]
        values = np.interp(time, time[good], values[good])
    return RollerSignal(values, 1, values, source, 0.0, counts, mended_s)


def _middle_of_five(values: Array) -> Array:
    padded = np.pad(values, 2, mode="edge")
    middle: Array = np.median(np.lib.stride_tricks.sliding_window_view(padded, 5), axis=1)
    return middle


def _angle(pulses: Array, time: Array, source: str, calibration: RollerCalibration) -> RollerSignal:
    if not calibration.pulses_per_turn:
        raise SweepError("Roller pulses were recorded, but the cell's calibration does not say how many make a turn.")
    quantum = 2.0 * pi / calibration.pulses_per_turn
    finite = np.isfinite(pulses)
    if int(finite.sum()) < 20:
        raise SweepError("Roller pulses are blank almost everywhere; check which column counts them.")
    counts = {"pulse_blanks": int((~finite).sum())}
    mended_s: dict[str, Array] = {}
    if source == "roller_pulses":
        jumps, turned = _counted(pulses[finite], time[finite], calibration.pulses_per_turn)
        counts["pulse_counter_resets"] = int(jumps.sum())
        mended_s["pulse_counter_resets"] = time[finite][1:][jumps]
        turned = turned if finite.all() else np.interp(time, time[finite], turned)
    else:
        turned = np.concatenate(([0.0], np.cumsum(np.nan_to_num(pulses[1:]))))
    angle = turned * quantum
    met = {name: count for name, count in counts.items() if count}
    return RollerSignal(angle, 2, _rough_speed(angle, time), source, quantum, met, mended_s)


def _counted(pulses: Array, time: Array, pulses_per_turn: float) -> tuple[Mask, Array]:
    """At which steps the counter was set back or leapt, and a count that goes on at the pace around it there."""
    steps = _unwrapped(np.diff(pulses), float(pulses.max()), pulses_per_turn)
    rate = steps / np.diff(time)
    jumps = (steps < 0.0) | ((rate > _WILD * float(np.quantile(rate, 0.9))) & (steps > _WILD))
    if jumps.any() and not jumps.all():
        usual = np.flatnonzero(~jumps)
        steps = np.interp(np.arange(len(steps)), usual, steps[usual])
    return jumps, np.concatenate(([0.0], np.cumsum(steps)))


def _unwrapped(steps: Array, most: float, pulses_per_turn: float) -> Array:
    """Steps of a counter that starts over at a round figure, made exact: an angle guessed at each would drift."""
    back = steps < 0.0
    if not back.any():
        return steps
    figure = min((round_ for round_ in (*_ROUND, pulses_per_turn) if round_ > most), default=0.0)
    onward = steps[back] + figure
    pace = float(np.median(steps[~back])) if not back.all() else 0.0
    if not (figure and (onward >= 0.0).all() and (onward <= 4.0 * pace + 2.0).all()):
        return steps  # set back by hand, or at no figure known here
    made = steps.copy()
    made[back] = onward
    return made


def _rough_speed(angle: Array, time: Array) -> Array:
    """Speed over some 0.2 s either side of each row."""
    reach = max(1, min(len(time) // 8, int(0.2 * (len(time) - 1) / (time[-1] - time[0]))))
    rows = np.arange(len(time))
    low, high = np.maximum(rows - reach, 0), np.minimum(rows + reach, len(time) - 1)
    return (angle[high] - angle[low]) / (time[high] - time[low])
