"""Mixture: what a sweep says of it once the probe's lag is taken out, what to look at first, and what is missing."""

from collections.abc import Mapping

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.measure.curveparts import Array, Flag, InPlace, Mask, ProbeLag
from pullbook.measure.fuelling import FOLLOWS, LEANER, PROBE_EXPANDED, TOLERANCE, MixtureStretch, leaner, stretches_of

_LASTING_POINTS = 3
_RICH_BY = 0.05
_SAG = 0.02
_SEEN = 0.5  # of the part in question: measured λ must be known there to say what the engine got
_PROTECTING = 0.80  # λ: common practice takes best power at 0.85 to 0.90, and goes below 0.80 to cool parts
_BEST = 0.87
_COSTS = (1.2, 2.5)  # share of torque lost per λ² from the best: common practice, from memory


@dataclass(frozen=True)
class Mixture:
    """What a sweep says about its mixture. `notes` are common practice, not measured; `missing`: what would help."""

    lag: ProbeLag | None
    tolerance_lambda: float
    stretches: tuple[MixtureStretch, ...]
    flags: tuple[Flag, ...]
    notes: tuple[str, ...]
    missing: str | None


def read_mixture(
    channels: Mapping[str, Array], in_place: InPlace | None, grid_rpm: Array, torque_nm: Array, ignition: str
) -> Mixture:
    """What the mixture did over the sweep, what to look at, and what is missing.

    `channels`: the curve's, on the grid, measured λ in its place. Leaner than commanded under load is a warning for
    spark ignition only; it stands before anything else.
    """
    measured, commanded = channels.get("lambda_measured"), channels.get("lambda_commanded")
    stretches: tuple[MixtureStretch, ...] = ()
    if measured is not None and in_place is not None:
        stretches = stretches_of(measured, commanded, in_place, grid_rpm, ignition)
    return Mixture(
        lag=None if in_place is None else in_place.lag,
        tolerance_lambda=TOLERANCE + PROBE_EXPANDED,
        stretches=stretches,
        flags=_flags(channels, stretches, grid_rpm, torque_nm, ignition),
        notes=_notes(channels, ignition),
        missing=_missing(measured, commanded),
    )


def mixture_flags(
    channels: Mapping[str, Array], in_place: InPlace | None, grid_rpm: Array, torque_nm: Array, ignition: str
) -> tuple[Flag, ...]:
    """The flags of `read_mixture`, without the rest where a glance tells that there are none."""
    measured, commanded = channels.get("lambda_measured"), channels.get("lambda_commanded")
    if ignition != "spark":
        return ()
    protects = commanded is not None and bool((commanded < _PROTECTING).any())
    lean = in_place is not None and measured is not None and bool((leaner(measured, in_place)).any())
    if not (protects or lean):
        return ()
    return read_mixture(channels, in_place, grid_rpm, torque_nm, ignition).flags


def _flags(
    channels: Mapping[str, Array],
    stretches: tuple[MixtureStretch, ...],
    grid_rpm: Array,
    torque_nm: Array,
    ignition: str,
) -> tuple[Flag, ...]:
    if ignition != "spark":
        return ()
    flags = []
    lean = [stretch for stretch in stretches if stretch.state == LEANER]
    if lean:
        flags.append(_lean(max(lean, key=lambda stretch: stretch.worst_error)))
    commanded = channels.get("lambda_commanded")
    if commanded is not None:
        measured = channels.get("lambda_measured")
        flags.extend(_asks_for_rich(measured, commanded, stretches, grid_rpm, torque_nm))
    return tuple(flags)


def _lean(worst: MixtureStretch) -> Flag:
    against = "λ 1.00" if worst.mean_commanded is None else f"λ {worst.mean_commanded:.2f} commanded"
    return Flag(
        "lean_under_load",
        f"Leaner than wanted under full load from {worst.from_rpm:.0f} to {worst.to_rpm:.0f} rev/min: "
        f"λ {worst.mean_measured:.2f} on average against {against}, by {worst.worst_error:.2f} too lean at "
        f"{worst.worst_at_rpm:.0f} rev/min. Stop pulling; check fuel pressure, injectors and the probe before the "
        "next one.",
    )


def _asks_for_rich(
    measured: Array | None,
    commanded: Array,
    stretches: tuple[MixtureStretch, ...],
    grid_rpm: Array,
    torque_nm: Array,
) -> list[Flag]:
    """Torque sags after its peak while the command has gone below what power asks for, and the mixture follows it."""
    if not float(np.nanmin(commanded, initial=np.inf)) < _PROTECTING:
        return []
    peak = int(torque_nm.argmax())
    sag = 1.0 - torque_nm[peak:] / torque_nm[peak]
    with np.errstate(invalid="ignore"):
        both = (commanded[peak] - commanded[peak:] > _RICH_BY) & (sag > _SAG) & (commanded[peak:] < _PROTECTING)
    for stretch in stretches:
        if stretch.state != FOLLOWS:
            both &= (grid_rpm[peak:] < stretch.from_rpm) | (grid_rpm[peak:] > stretch.to_rpm)
    run = _longest_run(both)
    if run is None or run[1] - run[0] < _LASTING_POINTS:
        return []
    part = slice(peak + run[0], peak + run[1])
    least = float(np.nanmin(commanded[part]))
    followed = measured is not None and float(np.isfinite(measured[part]).mean()) >= _SEEN
    got = " and gets it" if followed else ""
    told = (
        "The fuelling does what it was told: look"
        if followed
        else "What the engine got was not measured; if it is what was asked, look"
    )
    return [
        Flag(
            "rich_by_command",
            f"From {grid_rpm[part][0]:.0f} rev/min on the engine controller itself asks for a rich mixture (down to "
            f"λ {least:.2f}, after λ {commanded[peak]:.2f} at peak torque){got}; torque falls with it. {told} at why "
            "it asks (component or catalyst protection: exhaust temperature, knock, intake temperature), not at the "
            "fuel map.",
        )
    ]


def _notes(channels: Mapping[str, Array], ignition: str) -> tuple[str, ...]:
    """Common practice about how rich it is; nothing where it is not, or for a diesel."""
    named = [channels[name] for name in ("lambda_measured", "lambda_commanded") if name in channels]
    known = [values[np.isfinite(values)] for values in named]
    if ignition != "spark" or not any(len(values) for values in known):
        return ()
    richest = min(float(values.min()) for values in known if len(values))
    if richest > _BEST - 0.05:
        return ()
    low, high = (100.0 * cost * (_BEST - richest) ** 2 for cost in _COSTS)
    return (
        f"Common practice, not measured here: petrol engines make their best torque at about λ 0.85 to 0.90. At the "
        f"richest here, λ {richest:.2f}, some {low:.0f} to {high:.0f} % of it is given away, and in return the exhaust "
        "runs cooler.",
    )


def _missing(measured: Array | None, commanded: Array | None) -> str | None:
    has_measured = measured is not None and bool(np.isfinite(measured).any())
    has_commanded = commanded is not None and bool(np.isfinite(commanded).any())
    if has_measured and has_commanded:
        return None
    target = (
        "Log the controller's λ target as well: its own logger has it, or the diagnostic socket (SAE J1979, commanded "
        "equivalence ratio), and a second file can be joined to this pull."
    )
    if has_measured:
        return (
            f"There is no commanded λ, so whether the mixture is what the controller asked for cannot be said. {target}"
        )
    probe = "Log a wide-band probe in the exhaust with the pull."
    if has_commanded:
        return f"There is no measured λ, so whether the engine gets the mixture it is told cannot be said. {probe}"
    return f"There is no λ in this pull. {probe} {target}"


def _longest_run(true: Mask) -> tuple[int, int] | None:
    if not true.any():
        return None
    edges = np.flatnonzero(np.diff(np.concatenate(([0], true.astype(np.int8), [0]))))
    starts, stops = edges[::2], edges[1::2]
    best = int((stops - starts).argmax())
    return int(starts[best]), int(stops[best])
