"""Engine speed over the sweep: from its channel, dropouts bridged, or from the ratio that the pull states."""

from collections.abc import Mapping
from math import pi

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.measure.curveparts import Array, Flag, Mask
from pullbook.measure.kinematics import Motion
from pullbook.measure.localfit import local_fit

_RPM = 60.0 / (2.0 * pi)
_PARTS = 48  # the ratio changes slowly: so many parts of a sweep tell it
_SLIP = 0.015
_HALF = 0.5  # of the usual ratio: no slip or converter goes so far
_LEAP = 0.04  # of the ratio, from sample to sample: less is noise, or a value held for a while
_FAR = 8.0  # standard deviations: noise in rev/min is a larger share of a lower speed
_MEDIAN_ROWS = 9  # fewer have no middle to speak of


@dataclass(frozen=True)
class EngineSpeed:
    """`axis_rpm` at each block of the motion, rising. `ratio` is in engine turns per roller turn; None: unknown."""

    axis_rpm: Array
    from_engine: bool
    ratio: float | None
    drift: float | None
    flags: tuple[Flag, ...]
    counts: dict[str, int]


def engine_speed_of(
    channels: Mapping[str, Array], start: int, stop: int, motion: Motion, stated_ratio: float | None
) -> EngineSpeed:
    """Engine speed at the motion's blocks. Without a channel or a stated ratio, roller speed in rev/min stands in."""
    roller_rpm = motion.speed_rad_s * _RPM
    lost = 0
    if "engine_speed_rpm" in channels:
        time = channels["time_s"][start:stop]
        given = channels["engine_speed_rpm"][start:stop]
        ratio = given / (np.maximum(np.interp(time, motion.time_s, motion.speed_rad_s), 1e-6) * _RPM)
        usable = _usable(ratio)
        lost = int(len(ratio) - np.count_nonzero(usable))
        if lost <= 0.5 * len(ratio):
            return _from_channel(time, ratio, usable, motion, lost)
    counts = {"engine_speed_dropouts": lost} if lost else {}
    if stated_ratio is not None:
        said = "is blank or zero over most of the sweep" if lost else "was not recorded"
        text = f"Engine speed {said}: it is the roller's, times the {stated_ratio:g} turns that this pull states."
        flag = Flag("engine_speed_from_ratio", text)
        return EngineSpeed(roller_rpm * stated_ratio, True, stated_ratio, None, (flag,), counts)
    flag = Flag(
        "no_engine_speed",
        "There is no engine speed and no stated ratio: the curve is against roller speed, its torque the roller's. "
        "State the engine turns per roller turn for this gear to see it against engine speed.",
    )
    return EngineSpeed(roller_rpm, False, None, None, (flag,), counts)


def _usable(ratio: Array) -> Mask:
    """Where engine speed goes with the roller's: not blank, not zero, no spike."""
    least = _LEAP * float(np.add.reduce(ratio)) / len(ratio)
    leaps = ratio[1:] - ratio[:-1]
    if float(leaps.max()) < least and float(leaps.min()) > -least:
        return np.ones(len(ratio), dtype=bool)  # most pulls; a blank, and a zero between others, fail this
    usable = np.isfinite(ratio) & (ratio > 0.0)
    if np.count_nonzero(usable) > 0.5 * len(ratio):
        usable &= np.abs(ratio / float(np.median(ratio[usable])) - 1.0) < _HALF
        usable[usable] = _unspiked(ratio[usable])
    return usable


def _unspiked(ratio: Array) -> Mask:
    """Which stay near the middle of their neighbourhood: a running median, taken in parts of some tenths of a second.

    Slip, a clutch that lets go and a converter move whole parts, so they stay: within what the parts on either side
    span, nothing is a spike. A pick-up that counts a spark too many moves single samples. How near is near enough is
    told by how far most of them lie.
    """
    parts = min(_PARTS, len(ratio) // _MEDIAN_ROWS)
    if parts < 2:
        return np.ones(len(ratio), dtype=bool)
    each = len(ratio) // parts
    middles = np.pad(np.median(ratio[: parts * each].reshape(parts, each), axis=1), 1, mode="edge")
    three = np.stack([middles[:-2], middles[1:-1], middles[2:]])
    part = np.minimum(np.arange(len(ratio)) // each, parts - 1)
    low, high = three.min(axis=0)[part], three.max(axis=0)[part]
    off = np.maximum(np.maximum(ratio - high, low - ratio), 0.0) / low
    usual = float(np.median(np.abs(ratio / middles[1:-1][part] - 1.0)))
    near: Mask = off < max(_LEAP, _FAR * 1.4826 * usual)
    return near


def _from_channel(time: Array, ratio: Array, usable: Mask, motion: Motion, lost: int) -> EngineSpeed:
    flags, counts = [], {}
    if lost:
        counts["engine_speed_dropouts"] = lost
        gone = time[~usable]
        flags.append(
            Flag(
                "dropouts",
                f"Engine speed dropped out or leapt in {lost} of {len(ratio)} samples between {gone[0]:.1f} and "
                f"{gone[-1]:.1f} s; they were bridged by the ratio to the roller. Check the pick-up or its lead.",
            )
        )
        time, ratio = time[usable], ratio[usable]
    part_time, part = _in_parts(time, ratio)
    smooth = local_fit(part, 3, 1, 0) if len(part) >= 7 else part
    ordered = np.sort(smooth)
    middle = float(ordered[len(ordered) // 2])
    drift = float(ordered[-1] - ordered[0]) / middle
    if drift > _SLIP:
        flags.append(_slip(part_time, smooth, motion, drift))
    axis = np.interp(motion.time_s, part_time, smooth) * motion.speed_rad_s * _RPM
    return EngineSpeed(np.maximum.accumulate(axis), True, middle, drift, tuple(flags), counts)


def _in_parts(time: Array, ratio: Array) -> tuple[Array, Array]:
    """Means of time and ratio over equal numbers of rows."""
    each = max(1, len(ratio) // _PARTS)
    whole = len(ratio) // each * each
    return time[:whole].reshape(-1, each).mean(axis=1), ratio[:whole].reshape(-1, each).mean(axis=1)


def _slip(part_time: Array, smooth: Array, motion: Motion, drift: float) -> Flag:
    high, low = int(smooth.argmax()), int(smooth.argmin())
    speed = np.interp(part_time, motion.time_s, motion.speed_rad_s) * _RPM
    return Flag(
        "wheel_slip",
        f"Engine turns per roller turn range over {100.0 * drift:.1f} % in the sweep, from {smooth[low]:.3f} at "
        f"{speed[low] * smooth[low]:.0f} rev/min to {smooth[high]:.3f} at {speed[high] * smooth[high]:.0f} rev/min: "
        "wheel slip, a slipping clutch, or a converter. Tie the car down tighter, check tyres and clutch, pull again.",
    )
