"""From the samples of a sweep to its curve: the one entry. A pure function: same samples and settings, same bits."""

from collections.abc import Mapping
from dataclasses import replace
from math import pi

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.measure.air import Air
from pullbook.measure.brake import Brake, brake_of
from pullbook.measure.clipping import clipped_flags
from pullbook.measure.correction import STANDARDS, Engine, Factor, factor
from pullbook.measure.curveparts import (
    Array,
    Basis,
    Curve,
    Figure,
    Flag,
    Headline,
    InPlace,
    RollerCalibration,
    SweepError,
    SweepSettings,
)
from pullbook.measure.enginespeed import EngineSpeed, engine_speed_of
from pullbook.measure.gridding import carried, grid_between
from pullbook.measure.headline import Figures, Track, fine_points, headline
from pullbook.measure.inplace import put_in_place
from pullbook.measure.kinematics import Motion, motion_of
from pullbook.measure.mended import mended_flags
from pullbook.measure.mixture import mixture_flags
from pullbook.measure.rollerspeed import RollerSignal, roller_signal
from pullbook.measure.sweep import Stretch, find_sweep
from pullbook.measure.timebase import TimeBase, repaired
from pullbook.measure.uncertainty import factor_parts

__all__ = [
    "Curve",
    "Figure",
    "Flag",
    "Headline",
    "RollerCalibration",
    "SweepError",
    "SweepSettings",
    "read_sweep",
]


# of each block: fourth differences overlap, so that a variance told from n of them has some 0.38 n degrees of freedom
# (70² over the sum of the squared autocovariances 70, 56, 28, 8, 1 both ways), less for the twentieth left out
_NOISE_DOF = 0.3


@dataclass(frozen=True)
class _Sweep:
    """One sweep found in a pull: its rows, its motion, its engine speed."""

    base: TimeBase
    stretch: Stretch
    time_s: Array
    signal: RollerSignal
    brake: Brake
    brake_rows: Array | None
    motion: Motion
    turning: EngineSpeed
    flags: tuple[Flag, ...]
    counts: dict[str, int]


def read_sweep(
    channels: Mapping[str, Array],
    calibration: RollerCalibration,
    air: Air | None,
    engine: Engine,
    settings: SweepSettings,
) -> Curve:
    """Read one sweep.

    `channels`: one-dimensional float64 arrays of one length, in inside units, by the names in `CHANNELS`; `time_s` and
    one of the roller channels are needed. `air` None: only the observed curve can be given, and a flag says so.
    SweepError (a ValueError) where the samples are no sweep; ValueError for an unknown standard.
    """
    if settings.standard not in STANDARDS:
        raise ValueError(f"standard '{settings.standard}' is not known; known are {', '.join(STANDARDS)}")
    return _drawn(_found(channels, calibration, settings), calibration, air, engine, settings)


def _drawn(
    sweep: _Sweep, calibration: RollerCalibration, air: Air | None, engine: Engine, settings: SweepSettings
) -> Curve:
    motion, turning = sweep.motion, sweep.turning
    grid = grid_between(float(turning.axis_rpm[0]), float(turning.axis_rpm[-1]), settings.step_rpm)
    others, in_place = _others(sweep, grid, settings, air)
    corrected, told = _corrected(settings.standard, air, engine)
    k = 1.0 if corrected is None else corrected.value
    fine = fine_points(float(motion.speed_rad_s[0]), float(motion.speed_rad_s[-1]), motion.corners_rad_s)
    track, fine_track = _track(sweep, np.concatenate([_omega_at(grid, sweep), fine]), calibration).parted(len(grid))
    observed = track.power_w
    power = k * observed
    torque = power / grid * (30.0 / pi)
    figures, parts, basis = _headline(fine_track, sweep, grid, power, corrected, calibration, air, engine, settings)
    fuelling = mixture_flags(others, in_place, grid, torque, engine.ignition) if turning.from_engine else ()
    return Curve(
        engine_speed_rpm=grid,
        observed_power_w=observed,
        power_w=power,
        torque_nm=torque,
        spread_w=k * track.omega_rad_s * track.noise_nm,
        channels=others,
        headline=figures,
        standard="observed" if air is None else settings.standard,
        factor=None if corrected is None else corrected.value,
        factor_valid=corrected is not None and corrected.valid,
        factor_note=STANDARDS["observed"].note if corrected is None else corrected.note,
        air=air,
        window_s=motion.window_s,
        window_chosen=motion.window_chosen,
        step_rpm=settings.step_rpm,
        axis="engine_speed" if turning.from_engine else "roller_speed",
        ratio=turning.ratio,
        ratio_drift=turning.drift,
        sweep_s=(float(sweep.time_s[0]), float(sweep.time_s[-1])),
        flags=(*fuelling, *sweep.flags, *told),
        counts=sweep.counts,
        window_range_s=motion.window_range_s,
        corners_rpm=tuple(np.interp(motion.corners_rad_s, motion.speed_rad_s, turning.axis_rpm).tolist()),
        uncertainty_pct=parts,
        in_place=in_place,
        basis=basis,
    )


def _found(channels: Mapping[str, Array], calibration: RollerCalibration, settings: SweepSettings) -> _Sweep:
    base = repaired(channels)
    signal = roller_signal(base.channels, calibration)
    brake = brake_of(base.channels, calibration)
    stretch = find_sweep(base, signal)
    rows = slice(stretch.start, stretch.stop)
    time = base.channels["time_s"][rows]
    brake_rows = None if brake.torque_nm is None else brake.torque_nm[rows]
    cut = replace(signal, values=signal.values[rows], speed_rad_s=signal.speed_rad_s[rows])
    motion = motion_of(time, cut, brake_rows, calibration, settings.window_s)
    turning = engine_speed_of(base.channels, stretch.start, stretch.stop, motion, settings.engine_turns_per_roller_turn)
    counts = {**base.counts, **signal.counts, **brake.counts, **turning.counts}
    clipped = clipped_flags(base.channels, stretch.start, stretch.stop, motion.time_s, turning.axis_rpm)
    flags = (*stretch.flags, *turning.flags, *clipped, *mended_flags(counts, {**base.mended_s, **signal.mended_s}))
    return _Sweep(base, stretch, time, signal, brake, brake_rows, motion, turning, flags, counts)


def _headline(
    fine: Track,
    sweep: _Sweep,
    grid: Array,
    power: Array,
    corrected: Factor | None,
    calibration: RollerCalibration,
    air: Air | None,
    engine: Engine,
    settings: SweepSettings,
) -> tuple[Headline, dict[str, float], Basis]:
    motion = sweep.motion
    by = Figures(
        k=1.0 if corrected is None else corrected.value,
        calibration=calibration,
        from_surface_speed=sweep.signal.source == "roller_surface_speed_m_s",
        brake_by_force=sweep.brake.by_force,
        air_parts={} if corrected is None or air is None else factor_parts(settings.standard, air, engine),
        noise_dof=_NOISE_DOF * len(motion.time_s),
        window_share=motion.window_s / float(motion.time_s[-1] - motion.time_s[0]),
    )
    return headline(fine, grid, power, settings.band_rpm, by)


def _omega_at(axis_rpm: Array, sweep: _Sweep) -> Array:
    return np.interp(axis_rpm, sweep.turning.axis_rpm, sweep.motion.speed_rad_s)


def _track(sweep: _Sweep, omega: Array, calibration: RollerCalibration) -> Track:
    """The curve at these roller speeds."""
    motion = sweep.motion
    brake = np.zeros(len(omega))
    if sweep.brake_rows is not None:
        when = np.interp(omega, motion.speed_rad_s, motion.time_s)
        brake = np.interp(when, sweep.time_s, sweep.brake_rows)
    return Track(
        axis_rpm=np.interp(omega, motion.speed_rad_s, sweep.turning.axis_rpm),
        omega_rad_s=omega,
        drive_nm=motion.drive_nm(omega),
        brake_nm=brake,
        loss_nm=calibration.loss_nm(omega),
        noise_nm=motion.drive_deviation_nm(omega),
        scatter_nm=motion.drive_scatter_nm(omega),
    )


def _others(
    sweep: _Sweep, grid: Array, settings: SweepSettings, air: Air | None
) -> tuple[dict[str, Array], InPlace | None]:
    """The other channels on the grid: measured λ at the moment its gas was burnt; manifold pressure absolute too, where
    it was gauge and the air is known."""
    rows, seen, in_place = slice(sweep.stretch.start, sweep.stretch.stop), sweep.base.channels, None
    axis, time = sweep.turning.axis_rpm, sweep.motion.time_s
    others = carried(seen, rows, axis, time, grid, settings.step_rpm)
    if "lambda_measured" in seen:
        others["lambda_measured"], in_place = put_in_place(
            seen, axis, time, grid, settings.step_rpm, settings.lambda_lag_s
        )
    if air is not None and "manifold_gauge_kpa" in others and "manifold_pressure_kpa" not in others:
        others["manifold_pressure_kpa"] = others["manifold_gauge_kpa"] + air.pressure_kpa
    return others, in_place


def _corrected(standard: str, air: Air | None, engine: Engine) -> tuple[Factor | None, list[Flag]]:
    """The factor, and what has to be said about it. No air: no factor, unless nothing was to be corrected."""
    if air is None:
        if standard == "observed":
            return Factor(1.0, True, None, STANDARDS["observed"].note), []
        text = (
            f"There is no weather reading for this pull: it is shown as observed, not by {STANDARDS[standard].title}. "
            "Record the cell's temperature, station pressure and humidity to see it corrected."
        )
        return None, [Flag("no_weather", text)]
    made = factor(standard, air, engine)
    flags = []
    if not made.valid:
        flags.append(Flag("factor_outside_limits", f"{made.note} Pull in milder air, or quote observed."))
    if engine.holds_own_boost and engine.aspiration != "natural" and standard != "observed":
        text = (
            f"This engine holds its own boost and makes up thin air by itself: the factor {made.value:.4f} counts "
            "the air twice. Compare and quote the observed figures beside the corrected ones."
        )
        flags.append(Flag("corrected_twice", text))
    return made, flags
