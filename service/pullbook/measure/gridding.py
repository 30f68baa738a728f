"""Samples onto a common grid of engine speed, at whole multiples of a step so that curves line up."""

from collections.abc import Mapping

import numpy as np

from pullbook.measure.curveparts import Array, Indices, SweepError

FASTEST_RPM = 50_000.0  # no piston engine comes near it; a curve to it at a step of 10 is 5000 points
_NOT_CARRIED = frozenset(
    {
        "time_s",
        "roller_speed_rad_s",
        "roller_surface_speed_m_s",
        "roller_pulses",
        "roller_pulse_increments",
        "engine_speed_rpm",
        "brake_force_n",
    }
)


def grid_between(low_rpm: float, high_rpm: float, step_rpm: float) -> Array:
    """Whole multiples of the step within the range. SweepError where fewer than four fit, or none could be so fast."""
    if not -FASTEST_RPM <= low_rpm <= high_rpm <= FASTEST_RPM:  # a grid over such a range would take all memory
        raise SweepError(
            f"The engine would turn at {high_rpm:.4g} rev/min, which none does; check the columns of engine and roller "
            "speed, their units, and the gear's ratio."
        )
    if not step_rpm > 0.0:
        raise SweepError(f"A step of {step_rpm:g} rev/min will not do; give one above 0.")
    first, last = max(1.0, np.ceil(low_rpm / step_rpm)), np.floor(high_rpm / step_rpm)
    if last - first < 3:
        raise SweepError(
            f"A step of {step_rpm:g} rev/min is too coarse for a sweep from {low_rpm:.0f} to {high_rpm:.0f} rev/min; "
            f"{(high_rpm - low_rpm) / 20.0:.0f} or less would do."
        )
    return np.arange(first, last + 1) * step_rpm


def carried(
    channels: Mapping[str, Array], rows: slice, axis_rpm: Array, axis_time_s: Array, grid_rpm: Array, step_rpm: float
) -> dict[str, Array]:
    """Every other channel on the grid: the mean of its samples within half a step; where none is, between neighbours.

    `axis_rpm` at `axis_time_s`: engine speed over the sweep, rising. NaN where a channel is blank throughout.
    """
    names = [name for name in channels if name not in _NOT_CARRIED]
    if not names:
        return {}
    time = channels["time_s"][rows]
    edges = np.empty(len(grid_rpm) + 1)
    edges[:-1] = grid_rpm - 0.5 * step_rpm
    edges[-1] = grid_rpm[-1] + 0.5 * step_rpm
    cuts = np.searchsorted(time, np.interp(edges, axis_rpm, axis_time_s, left=-np.inf, right=np.inf))
    counts = cuts[1:] - cuts[:-1]
    if int(counts.min()) > 0:
        table = np.empty((len(names), cuts[-1] - cuts[0]))
        for row, name in zip(table, names, strict=True):
            row[:] = channels[name][rows.start + cuts[0] : rows.start + cuts[-1]]
        means = np.add.reduceat(table, cuts[:-1] - cuts[0], axis=1)
        means /= counts
        if np.isfinite(means).all():
            return dict(zip(names, means, strict=True))
    axis = np.interp(time, axis_time_s, axis_rpm)
    return {name: _patiently(channels[name][rows], axis, cuts, grid_rpm) for name in names}


def _patiently(values: Array, axis_rpm: Array, cuts: Indices, grid_rpm: Array) -> Array:
    """One channel with blanks, or with grid points that no sample is near."""
    known = np.isfinite(values)
    made = np.full(len(grid_rpm), np.nan)
    if not known.any():
        return made
    sums = np.concatenate(([0.0], np.cumsum(np.where(known, values, 0.0))))
    counts = np.concatenate(([0], np.cumsum(known)))
    many = counts[cuts[1:]] - counts[cuts[:-1]]
    near = many > 0
    made[near] = (sums[cuts[1:]] - sums[cuts[:-1]])[near] / many[near]
    made[~near] = np.interp(grid_rpm[~near], axis_rpm[known], values[known], left=np.nan, right=np.nan)
    return made
