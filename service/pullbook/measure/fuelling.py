"""Plain words about mixture under load. Lag of the probe is not taken out here: only lasting differences count."""

from collections.abc import Mapping

import numpy as np

from pullbook.measure.curveparts import Array, Flag, Mask

_LEAN_BY = 0.04  # λ
_LASTING_POINTS = 4
_RICH_BY = 0.05
_SAG = 0.02
_PROTECTING = 0.80  # λ: common practice takes best power at 0.85 to 0.90, and goes below 0.80 to cool parts


def fuelling_flags(channels: Mapping[str, Array], grid_rpm: Array, torque_nm: Array, ignition: str) -> tuple[Flag, ...]:
    """Leaner than commanded under load first; then richness that the controller commands. Spark ignition only."""
    measured, commanded = channels.get("lambda_measured"), channels.get("lambda_commanded")
    if ignition != "spark":
        return ()
    flags = []
    if measured is not None:
        flags.extend(_lean(measured, commanded, grid_rpm))
    if commanded is not None:
        flags.extend(_commanded_rich(measured, commanded, grid_rpm, torque_nm))
    return tuple(flags)


def _lean(measured: Array, commanded: Array | None, grid_rpm: Array) -> list[Flag]:
    with np.errstate(invalid="ignore"):
        over = measured - (1.0 if commanded is None else commanded)
        lean = over > (0.0 if commanded is None else _LEAN_BY)
    run = _longest_run(lean)
    if run is None or run[1] - run[0] < _LASTING_POINTS:
        return []
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


def _commanded_rich(measured: Array | None, commanded: Array, grid_rpm: Array, torque_nm: Array) -> list[Flag]:
    """Torque sags after its peak while the command has gone below what power asks for, and the mixture follows it."""
    if not np.isfinite(commanded).all():
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
    edges = np.flatnonzero(np.diff(np.concatenate(([0], true.astype(np.int8), [0]))))
    if len(edges) == 0:
        return None
    starts, stops = edges[::2], edges[1::2]
    best = int((stops - starts).argmax())
    return int(starts[best]), int(stops[best])
