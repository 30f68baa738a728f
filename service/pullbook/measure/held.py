"""Samples that a slow source gave and a faster logger repeated: the moments at which they were new."""

import numpy as np

from pullbook.measure.curveparts import Array

_ROWS = 3  # a value that stands this many rows at least, usually, is a held one
_VARIED = 0.3  # of the changes are larger than the least: else it is a fine value's last digit that steps


def in_order(time_s: Array, values: Array) -> tuple[Array, Array]:
    """The finite samples by rising stamp, the last of any at one stamp; arrays of (rows,)."""
    known = np.isfinite(time_s) & np.isfinite(values)
    when, what = time_s[known], values[known]
    if len(when) > 1 and not float((when[1:] - when[:-1]).min()) > 0.0:
        order = np.argsort(when, kind="stable")
        when, what = when[order], what[order]
        last = np.append(when[1:] > when[:-1], True)
        when, what = when[last], what[last]
    return when, what


def when_new(time_s: Array, values: Array) -> tuple[Array, Array]:
    """A held signal's own samples: stamps and values of the rows at which it changed, and the last row.

    `time_s`, `values`: (rows,), finite, rising. A source that answers ten times a second, repeated in every row of a
    faster file, is late by half its step on average; between the moments of change it is not. Anything else comes back
    as it is: also a signal whose last digit steps, which is rounded and not held.
    """
    if len(values) < 2 * _ROWS:
        return time_s, values
    steps = values[1:] - values[:-1]
    changed = np.flatnonzero(steps)
    if len(changed) < 4 or len(changed) * _ROWS > len(values):
        return time_s, values
    sizes = np.abs(steps[changed])
    spaces = changed[1:] - changed[:-1]
    varied = np.count_nonzero(sizes > 1.5 * float(sizes.min())) >= _VARIED * len(sizes)
    if not varied or float(np.median(spaces)) < _ROWS:
        return time_s, values
    rows = np.concatenate(([0], changed + 1, [len(values) - 1]))
    rows = rows[np.append(rows[1:] > rows[:-1], True)]
    return time_s[rows], values[rows]


def thinned(time_s: Array, values: Array, step_s: float) -> tuple[Array, Array]:
    """Means of stamps and of values over parts `step_s` long: less noise, and a line stays where it was."""
    part = np.floor((time_s - time_s[0]) / step_s)
    first = np.flatnonzero(np.concatenate(([True], part[1:] > part[:-1])))
    if len(first) == len(time_s):
        return time_s, values
    counts = np.diff(np.append(first, len(time_s)))
    return np.add.reduceat(time_s, first) / counts, np.add.reduceat(values, first) / counts
