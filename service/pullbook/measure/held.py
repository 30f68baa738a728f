"""Samples that a slow source gave and a faster logger repeated: the moments at which they were new."""

import numpy as np

from pullbook.measure.curveparts import Array

_ROWS = 3  # a value that stands this many rows at least, usually, is a held one or a rounded one
_LINES = 2  # a controller may draw one short line itself
_PAUSE_S = 0.5  # s: a straight line that lasts longer is no pause between two samples
_STRAIGHT = 1e-6  # of the sharpest bend, or the largest move: what a sum of floats leaves of a straight line
_REGULAR = 0.9  # of the changes come at whole multiples of one step, within a fifth of it


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
    """A held signal's own samples: stamps and values of the rows at which it changed, or had last not yet changed.

    `time_s`, `values`: (rows,), finite, rising. A source that answers ten times a second, repeated in every row of a
    faster file, is late by half its step on average; between the moments of change it is not. Anything else comes back
    as it is: also a signal whose last digit steps, which is rounded and not held.
    """
    if len(values) < 2 * _ROWS:
        return time_s, values
    changes = values[1:] - values[:-1]
    changed = np.flatnonzero(changes)
    if len(changed) < 4 or len(changed) * _ROWS > len(values):
        return time_s, values
    spaces = changed[1:] - changed[:-1]
    least = float(np.sort(spaces)[len(spaces) // 20])
    step = round(float(np.median(spaces / np.maximum(np.rint(spaces / least), 1.0))))
    if step < _ROWS or not _is_held(spaces / step, np.abs(changes[changed])):
        return time_s, values
    fresh = changed + 1
    waited = fresh[1:][spaces > 1.5 * step] - step  # it was asked all the while, and had not changed
    rows = np.unique(np.concatenate(([0], fresh, waited, [max(fresh[0] - step, 0)])))
    return 0.5 * (time_s[rows] + time_s[np.maximum(rows - 1, 0)]), values[rows]  # it came between two rows


def when_bent(time_s: Array, values: Array) -> tuple[Array, Array]:
    """The samples of a slow source between which a faster logger, or whoever joined two files, drew straight lines.

    `time_s`, `values`: (rows,), finite, rising. Such a signal runs straight over several rows and bends at its own
    samples alone, evenly spaced or not; where it bends at fewer, samples are put in as far apart as the others are.
    Anything else comes back as it is, also lines that were rounded afterwards, which bend everywhere.
    """
    if len(values) < 2 * _ROWS:
        return time_s, values
    changes = np.abs(np.diff(np.diff(values) / np.diff(time_s)))
    ends = np.concatenate(([0], np.flatnonzero(changes > _STRAIGHT * float(changes.max())) + 1, [len(values) - 1]))
    lasts, moves = np.diff(time_s[ends]), np.abs(np.diff(values[ends]))
    lines = (np.diff(ends) >= _ROWS) & (lasts <= _PAUSE_S) & (moves > _STRAIGHT * float(moves.max()))
    if np.count_nonzero(lines) < _LINES:
        return time_s, values
    parts = np.rint(lasts / float(np.median(lasts[lines]))).astype(int).tolist()
    pieces = zip(time_s[ends[:-1]].tolist(), time_s[ends[1:]].tolist(), parts, strict=True)
    begins = [first + (last - first) / part * np.arange(part) for first, last, part in pieces if part]
    when = np.append(np.concatenate(begins), time_s[-1])
    return when, np.interp(when, time_s, values)


def _is_held(spaces: Array, sizes: Array) -> bool:
    """Whether changes come at whole multiples of one step: what is rounded changes when it will, by one size."""
    regular = np.count_nonzero(np.abs(spaces - np.rint(spaces)) <= 0.2) >= _REGULAR * len(spaces)
    if not regular:
        return False
    parts = sizes / float(sizes.min())
    of_one_size = float(np.abs(parts - np.rint(parts)).max()) < 0.02 and float(np.median(parts)) < 1.5
    skips = int(np.count_nonzero(spaces > 1.5))
    return not of_one_size or (len(spaces) > 20 and skips > 0.1 * len(spaces))


def thinned(time_s: Array, values: Array, step_s: float) -> tuple[Array, Array]:
    """Means of stamps and of values over parts `step_s` long: less noise, and a line stays where it was."""
    part = np.floor((time_s - time_s[0]) / step_s)
    first = np.flatnonzero(np.concatenate(([True], part[1:] > part[:-1])))
    if len(first) == len(time_s):
        return time_s, values
    counts = np.diff(np.append(first, len(time_s)))
    return np.add.reduceat(time_s, first) / counts, np.add.reduceat(values, first) / counts
