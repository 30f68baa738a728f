"""Samples of one clock laid on the stamps of another: between neighbours, never across a gap, never beyond the ends."""

from collections.abc import Mapping

import numpy as np

from pullbook.measure.curveparts import Array, Mask

_GAP_STEPS = 3.0  # as many of a channel's usual steps may lie between two samples that are joined by a line
_GAP_S = 1.0  # a line over this long is always allowed: slow channels are slow because they change slowly


def laid_on(at_s: Array, time_s: Array, values: Array) -> Array:
    """The channel at other stamps: straight lines between its own finite samples, NaN before, after and across gaps.

    `at_s` (any shape), `time_s` and `values` (rows,) in s and the channel's unit. A gap is longer than 1 s and than
    three of the channel's usual steps. Stamps need not be in order; of samples at one stamp the last counts.
    """
    known = np.isfinite(time_s) & np.isfinite(values)
    if not known.any():
        return np.full(np.shape(at_s), np.nan)
    order = np.argsort(time_s[known], kind="stable")
    when, what = time_s[known][order], values[known][order]
    last = np.append(when[1:] > when[:-1], True)
    when, what = when[last], what[last]
    made: Array = np.interp(at_s, when, what, left=np.nan, right=np.nan)
    if len(when) < 2:
        return made
    steps = np.diff(when)
    longest = max(_GAP_S, _GAP_STEPS * float(np.median(steps)))
    if float(steps.max()) > longest:
        place = np.clip(np.searchsorted(when, at_s, side="right") - 1, 0, len(steps) - 1)
        inside = (at_s > when[place]) & (at_s < when[place + 1])
        made[inside & (steps[place] > longest)] = np.nan
    return made


def on_the_stamps_of(base: str, channels: Mapping[str, Array]) -> dict[str, Array]:
    """Channels of a file whose groups are sampled apart, on the rows in which `base` has a value.

    Such a file has a row for every stamp of any group, and blanks where a group has none. `channels`: of one length,
    with `time_s` among them; the others are laid between their own samples. Where `base` has no blank, nothing changes.
    """
    rows = np.isfinite(channels[base]) & np.isfinite(channels["time_s"])
    if rows.all():
        return dict(channels)
    time = channels["time_s"]
    at = time[rows]
    return {
        name: values[rows] if name in (base, "time_s") else _filled(values, rows, at, time)
        for name, values in channels.items()
    }


def _filled(values: Array, rows: Mask, at: Array, time: Array) -> Array:
    own = values[rows]
    return own if np.isfinite(own).all() else laid_on(at, time, values)
