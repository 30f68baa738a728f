"""λ where it belongs: measured λ moved back by the probe's lag, and what was commanded around that moment."""

from collections.abc import Mapping

import numpy as np

from pullbook.measure.curveparts import Array, InPlace
from pullbook.measure.gridding import carried
from pullbook.measure.probelag import EDGE_S, probe_lag

_SMEAR_S = 0.15  # what changes faster, a probe and a slow source blur


def put_in_place(
    channels: Mapping[str, Array],
    axis_rpm: Array,
    axis_time_s: Array,
    grid_rpm: Array,
    step_rpm: float,
    given_s: float | None = None,
) -> tuple[Array, InPlace]:
    """Measured λ on the grid at the moment the gas was burnt, and the command around it.

    `channels`: (rows,) with `time_s`, `lambda_measured` and perhaps `lambda_commanded`; `axis_rpm` at `axis_time_s`:
    engine speed over the sweep, rising. The last moments of the sweep are left blank: their gas reaches the probe mixed
    with that of the throttle shutting.
    """
    sweep_s = (float(axis_time_s[0]), float(axis_time_s[-1]))
    lag = probe_lag(channels, sweep_s, given_s)
    burnt = np.interp(grid_rpm, axis_rpm, axis_time_s)
    earlier = channels["time_s"] - lag.lag_s
    rows = slice(*np.searchsorted(earlier, (sweep_s[0], sweep_s[1] - EDGE_S)).tolist())
    late = {"time_s": earlier, "lambda_measured": channels["lambda_measured"]}
    measured = carried(late, rows, axis_rpm, axis_time_s, grid_rpm, step_rpm)["lambda_measured"]
    measured[burnt > min(sweep_s[1] - EDGE_S, float(earlier[-1]))] = np.nan
    if "lambda_commanded" not in channels:
        return measured, InPlace(lag, burnt, None, None)
    doubt = 2.0 * lag.u_s + _SMEAR_S
    least, most = command_around(channels["time_s"], channels["lambda_commanded"], burnt, doubt)
    return measured, InPlace(lag, burnt, least, most)


def command_around(time_s: Array, commanded: Array, when_s: Array, doubt_s: float) -> tuple[Array, Array]:
    """The least and the greatest λ commanded within `doubt_s` of these moments; NaN where there was none."""
    first, last = np.searchsorted(time_s, when_s - doubt_s), np.searchsorted(time_s, when_s + doubt_s, side="right")
    ends = np.column_stack([first, np.maximum(last, first + 1)]).ravel()
    padded = np.append(commanded, [np.nan, np.nan])
    least: Array = np.fmin.reduceat(padded, ends)[::2]
    most: Array = np.fmax.reduceat(padded, ends)[::2]
    return least, most
