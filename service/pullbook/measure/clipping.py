"""Sensors at the end of their range: a reading that stands at its highest or lowest value where the truth went on.

A sensor with noise never writes the same value many times over; one without comes to a limit in full stride, where a
thing that is controlled rounds off. A value that is only told now and then stands still everywhere, not just there.
"""

from collections.abc import Mapping
from typing import Literal

import numpy as np

from pullbook.measure.curveparts import Array, Flag, Mask
from pullbook.measure.glossary import CHANNELS
from pullbook.measure.units import UNITS

WATCHED = (
    "manifold_pressure_kpa",
    "manifold_gauge_kpa",
    "lambda_measured",
    "brake_force_n",
    "brake_torque_nm",
    "air_flow_g_s",
    "fuel_pressure_kpa",
    "exhaust_temperature_c",
)
# the end of what one or two bytes hold in SAE J1979 (PID 0B; PIDs 24 and 34)
FULL_BYTES = {"manifold_pressure_kpa": 255.0, "lambda_measured": 2.0 * 65535.0 / 65536.0}
_BRAKE = frozenset({"brake_force_n", "brake_torque_nm"})  # a brake may be held anywhere, and come to it sharply
_LASTING_S = 0.2
_LASTING_ROWS = 8
_LONGER = 8.0  # times as long as a value usually stands
_TURNS = 0.25  # of the changes go the other way: noise
_WIDE = 0.05  # of those are more than one step wide
_STEPS = 5
_BEFORE_S, _JUST_BEFORE_S = 0.15, 0.05
End = Literal["top", "bottom"]


def clipped_flags(
    channels: Mapping[str, Array], start: int, stop: int, axis_time_s: Array, axis_rpm: Array
) -> list[Flag]:
    """One flag for all channels that stood at an end of their range in rows `start` to `stop`, or none.

    `axis_rpm` at `axis_time_s`: the curve's axis over the sweep, rev/min.
    """
    time = channels["time_s"]
    seen = []
    for name in WATCHED:
        if name in channels:
            for end in ("top", "bottom"):
                run = _run_at_end(name, channels[name], time, start, stop, end)
                if run is not None:
                    low, high = np.interp(time[list(run)], axis_time_s, axis_rpm)
                    seen.append(_said(name, float(channels[name][run[0]]), time[list(run)], (low, high), end))
    if not seen:
        return []
    return [Flag("clipped_sensor", f"{' '.join(seen)} Fit a sensor with more range, or do not read it there.")]


def _said(name: str, value: float, when_s: Array, rpm: tuple[float, float], end: End) -> str:
    title, unit = CHANNELS[name].title, UNITS[CHANNELS[name].inside_unit].label
    beyond = "higher" if end == "top" else "lower"
    but = " Power there is short of what the brake took beyond it." if name in _BRAKE and end == "top" else ""
    title = title if title[0] == "λ" else title[0].upper() + title[1:]
    return (
        f"{title} stands at {value:.5g} {unit} without a stir from {when_s[0]:.2f} to "
        f"{when_s[1]:.2f} s ({rpm[0]:.0f} to {rpm[1]:.0f} rev/min): the end of what its sensor tells; the truth may be "
        f"{beyond}.{but}"
    )


def _run_at_end(name: str, values: Array, time: Array, start: int, stop: int, end: End) -> tuple[int, int] | None:
    """First and last row of the longest stand at this end of the sweep's values, where that is the sensor's doing."""
    part = values[start:stop]
    most = float(part.max() if end == "top" else part.min())
    if most != most:  # a blank somewhere: only the rows that say something
        told = np.flatnonzero(np.isfinite(values[start:stop])) + start
        if len(told) < 3 * _LASTING_ROWS:
            return None
        run = _run_at_end(name, values[told], time[told], 0, len(told), end)
        return None if run is None else (int(told[run[0]]), int(told[run[1]]))
    at_end = part == most
    hits = int(np.count_nonzero(at_end))
    if hits < _LASTING_ROWS:
        return None
    first, last = _longest(at_end)
    lasts = float(time[start + last] - time[start + first])
    if last - first + 1 < _LASTING_ROWS or lasts < _LASTING_S:
        return None
    run = (start + first, start + last)
    if most == FULL_BYTES.get(name) and end == "top":
        return run
    return run if _is_stopped(name, values, time, (start, stop), run, at_end) else None


def _is_stopped(
    name: str, values: Array, time: Array, rows: tuple[int, int], run: tuple[int, int], at_end: Mask
) -> bool:
    part = values[rows[0] : rows[1]]
    changes = np.diff(part)
    changes = changes[changes != 0.0]
    elsewhere = len(part) - int(np.count_nonzero(at_end))
    if len(changes) < _LASTING_ROWS or run[1] - run[0] + 1 < _LONGER * elsewhere / len(changes):
        return False  # stuck all along, or told so seldom that it stands everywhere
    quantum = float(np.abs(changes).min())
    turning = changes[1:] * changes[:-1] < 0.0
    if np.count_nonzero(turning) > _TURNS * len(changes):
        wide = np.abs(changes[1:][turning]) > 1.5 * quantum
        return bool(np.count_nonzero(wide) > _WIDE * len(wide))  # else it is two neighbouring steps in turn
    return name not in _BRAKE and _in_full_stride(values, time, run[0], quantum)


def _in_full_stride(values: Array, time: Array, first: int, quantum: float) -> bool:
    """Whether the value came to its end as fast as ever: a thing that is controlled rounds off, each step taking longer
    than the one before."""
    steps = np.flatnonzero(np.diff(values[: first + 1])) + 1
    if len(steps) < _STEPS + 1:
        return False
    took = np.diff(time[steps[-_STEPS - 1 :]])
    if float(took[-1]) > 1.5 * float(np.median(took[:-1])):
        return False
    before, just = np.searchsorted(time, time[first] - np.array([_BEFORE_S, _JUST_BEFORE_S]))
    climbed, lately = abs(float(values[first] - values[before])), abs(float(values[first] - values[just]))
    return lately >= quantum and lately >= 0.2 * climbed


def _longest(true: Mask) -> tuple[int, int]:
    """First and last of the longest run."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], true.astype(np.int8), [0]))))
    starts, stops = edges[::2], edges[1::2]
    best = int((stops - starts).argmax())
    return int(starts[best]), int(stops[best]) - 1
