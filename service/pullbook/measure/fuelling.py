"""Plain words about mixture under load.

A probe tells what was burnt up to a second ago: gas takes its time through the pipe, and the probe answers late. So a
mixture is lean only where it is leaner than everything that was commanded within that second.
"""

from collections.abc import Callable, Mapping

import numpy as np

from pullbook.measure.curveparts import Array, Flag, Mask

_LEAN_BY = 0.04  # λ
_LASTING_POINTS = 4
_LATE_S = 1.0  # gas on its way and the probe's answer, together, in all but odd fittings
_RICH_BY = 0.05
_SAG = 0.02
_PROTECTING = 0.80  # λ: common practice takes best power at 0.85 to 0.90, and goes below 0.80 to cool parts


def fuelling_flags(
    channels: Mapping[str, Array], grid_rpm: Array, torque_nm: Array, ignition: str, leanest_lately: Callable[[], Array]
) -> tuple[Flag, ...]:
    """Leaner than commanded under load first; then richness that the controller commands. Spark ignition only.

    `leanest_lately`: the command on the grid as `leanest_command` gives it; asked for only where it could matter.
    """
    measured, commanded = channels.get("lambda_measured"), channels.get("lambda_commanded")
    if ignition != "spark":
        return ()
    flags = []
    if measured is not None:
        flags.extend(_lean(measured, commanded, grid_rpm, leanest_lately))
    if commanded is not None:
        flags.extend(_commanded_rich(measured, commanded, grid_rpm, torque_nm))
    return tuple(flags)


def leanest_command(time_s: Array, commanded: Array, when_s: Array) -> Array:
    """The leanest λ that was commanded in the second before each of these moments; NaN where there was none."""
    first, last = np.searchsorted(time_s, when_s - _LATE_S), np.searchsorted(time_s, when_s, side="right")
    ends = np.column_stack([first, np.maximum(last, first + 1)])
    leanest: Array = np.fmax.reduceat(np.append(commanded, np.nan), ends.ravel())[::2]
    return leanest


def _lean(measured: Array, commanded: Array | None, grid_rpm: Array, leanest_lately: Callable[[], Array]) -> list[Flag]:
    run = _lean_run(measured, commanded)
    if run is not None and commanded is not None:
        commanded = leanest_lately()
        run = _lean_run(measured, commanded)
    if run is None:
        return []
    over = measured - (1.0 if commanded is None else commanded)
    part = slice(*run)
    worst = run[0] + int(np.nanargmax(over[part]))
    against = "λ 1.00" if commanded is None else f"λ {commanded[worst]:.2f} commanded"
    return [
        Flag(
            "lean_under_load",
            f"Leaner than wanted under full load from {grid_rpm[run[0]]:.0f} to {grid_rpm[run[1] - 1]:.0f} rev/min: "
            f"λ {measured[worst]:.2f} against {against} at {grid_rpm[worst]:.0f} rev/min. Stop pulling; check fuel "
            "pressure, injectors and the probe before the next one.",
        )
    ]


def _lean_run(measured: Array, commanded: Array | None) -> tuple[int, int] | None:
    with np.errstate(invalid="ignore"):
        lean = measured > 1.0 if commanded is None else measured - commanded > _LEAN_BY
    run = _longest_run(lean)
    return None if run is None or run[1] - run[0] < _LASTING_POINTS else run


def _commanded_rich(measured: Array | None, commanded: Array, grid_rpm: Array, torque_nm: Array) -> list[Flag]:
    """Torque sags after its peak while the command has gone below what power asks for, and the mixture follows it."""
    if not float(commanded.min()) < _PROTECTING:  # a blank fails this too
        return []
    peak = int(torque_nm.argmax())
    richer = commanded[peak] - commanded[peak:]
    sag = 1.0 - torque_nm[peak:] / torque_nm[peak]
    both = (richer > _RICH_BY) & (sag > _SAG) & (commanded[peak:] < _PROTECTING)
    if measured is not None:
        with np.errstate(invalid="ignore"):
            both &= np.abs(measured[peak:] - commanded[peak:]) < _LEAN_BY
    run = _longest_run(both)
    if run is None or run[1] - run[0] < _LASTING_POINTS:
        return []
    first, last = peak + run[0], peak + run[1] - 1
    return [
        Flag(
            "rich_by_command",
            f"From {grid_rpm[first]:.0f} to {grid_rpm[last]:.0f} rev/min torque falls while the engine controller "
            f"itself asks for a richer mixture (λ {commanded[first]:.2f} to {commanded[last]:.2f} commanded, "
            f"λ {commanded[peak]:.2f} at peak torque): the fuelling is doing what it was told. Look at "
            "why it was told (exhaust or catalyst temperature, knock), not at the fuel map.",
        )
    ]


def _longest_run(true: Mask) -> tuple[int, int] | None:
    if not true.any():
        return None
    edges = np.flatnonzero(np.diff(np.concatenate(([0], true.astype(np.int8), [0]))))
    starts, stops = edges[::2], edges[1::2]
    best = int((stops - starts).argmax())
    return int(starts[best]), int(stops[best])
