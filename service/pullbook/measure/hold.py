"""Holds and steps: what a car gives while the brake keeps it at one speed.

Power over the settled part of a plateau is the mean of ω·(J·α + τ_brake + τ_loss). J·α is not left out because the
speed is "held": at 60 kg·m² and 100 rad/s a creep of 0.1 % a second is 600 W. Both together are the slope of a straight
line through y = ω + ∫τ_brake dt / J over the whole settled part, times J (the curvature of a parabola through the angle
and its like, where pulses were counted): a brake that hunts around its speed takes from J·α what it adds, and y does
not see it. How sure that is comes from the same slope taken second by second, its memory allowed for.

What a probe tells of a plateau comes late: measured λ is read over the settled part moved by the lag.
"""

from collections.abc import Mapping
from dataclasses import replace
from math import pi

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.measure.air import Air
from pullbook.measure.brake import Brake, brake_of
from pullbook.measure.correction import STANDARDS, Engine, Factor, factor
from pullbook.measure.correlated import Trend, trend, widened
from pullbook.measure.curveparts import Array, Flag, Moment, RollerCalibration
from pullbook.measure.holdparts import SETTLED_WORDS, HeldAt, Holds, HoldSettings, Mean
from pullbook.measure.localfit import local_fit
from pullbook.measure.plateaus import HALF_BLOCKS, Plateau, SteadyBlocks, find_plateaus, in_blocks
from pullbook.measure.rollerspeed import RollerSignal, roller_signal
from pullbook.measure.timebase import TimeBase, repaired
from pullbook.measure.uncertainty import factor_parts, power_parts

__all__ = ["SETTLED_WORDS", "HeldAt", "HoldSettings", "Holds", "Mean", "read_holds"]

_RPM = 30.0 / pi
_LEAST_BLOCKS = 10  # settled, to tell a mean and a drift: one second
_STILL = 0.005  # of speed over the settled part
_STILL_POWER = 0.01
_MEANS = (  # what else is told at each plateau
    "manifold_pressure_kpa",
    "intake_temperature_c",
    "coolant_temperature_c",
    "oil_temperature_c",
    "exhaust_temperature_c",
    "ignition_advance_deg",
    "knock_retard_deg",
    "fuel_pressure_kpa",
    "fuel_flow_g_s",
    "air_flow_g_s",
    "battery_v",
)


@dataclass(frozen=True)
class _Seen:
    """A recording, ready to be read plateau by plateau."""

    base: TimeBase
    signal: RollerSignal
    brake: Brake
    steady: SteadyBlocks
    gained: Array  # block means of speed (or angle) with the brake's share added
    drive_nm: Array  # J·α and brake together, second by second
    engine_rpm: Array | None
    throttle: Array | None


def read_holds(
    channels: Mapping[str, Array],
    calibration: RollerCalibration,
    air: Air | None,
    engine: Engine,
    settings: HoldSettings,
) -> Holds:
    """Read every plateau of one recording.

    `channels`: (rows,) float64 arrays in inside units; `time_s` and one of the roller channels are needed. `air` None:
    observed power only. SweepError where there is no usable time or roller speed; a recording that never stands still
    gives no plateaus and a flag. ValueError for an unknown standard.
    """
    if settings.standard not in STANDARDS:
        raise ValueError(f"standard '{settings.standard}' is not known; known are {', '.join(STANDARDS)}")
    base = repaired(channels)
    signal = roller_signal(base.channels, calibration)
    brake = brake_of(base.channels, calibration)
    made = None if air is None else factor(settings.standard, air, engine)
    parts = {} if made is None or air is None else dict(factor_parts(settings.standard, air, engine))
    steady, throttle = in_blocks(base, signal), _bridged(base, "throttle_pct")
    plateaus: list[HeldAt] = []
    if steady is not None:
        gained, drive = _driven(base, signal, brake, steady, calibration.inertia_kg_m2)
        seen = _Seen(base, signal, brake, steady, gained, drive, _engine_rpm(base, signal, settings), throttle)
        for one in find_plateaus(steady, signal, throttle, brake.torque_nm):
            if one.stop - one.settled >= _LEAST_BLOCKS:
                plateaus.append(_held_at(seen, one, calibration, made, parts, settings.lag_s))
    return Holds(
        plateaus=tuple(plateaus),
        standard="observed" if made is None else settings.standard,
        factor=None if made is None else made.value,
        factor_valid=made is not None and made.valid,
        factor_note=STANDARDS["observed"].note if made is None else made.note,
        lag_s=settings.lag_s,
        flags=_flags(plateaus, brake, settings.standard, air),
        counts={**base.counts, **signal.counts, **brake.counts},
    )


def _driven(
    base: TimeBase, signal: RollerSignal, brake: Brake, steady: SteadyBlocks, inertia: float
) -> tuple[Array, Array]:
    """What moved the roller, in blocks: speed or angle with the brake's share, and the torque over each second."""
    gained = signal.values
    if brake.torque_nm is not None:
        share, spaces = brake.torque_nm / inertia, np.diff(base.channels["time_s"])
        for _ in range(signal.derivative):
            share = np.concatenate(([0.0], np.cumsum(0.5 * (share[1:] + share[:-1]) * spaces)))
        gained = gained + share
    means, degree = steady.blocks.mean(gained), signal.derivative
    return means, local_fit(means, HALF_BLOCKS, degree, degree) * (inertia / steady.blocks.step_s**degree)


def _held_at(
    seen: _Seen,
    at: Plateau,
    calibration: RollerCalibration,
    corrected: Factor | None,
    air_parts: Mapping[str, float],
    lag_s: float,
) -> HeldAt:
    blocks, rows, step = seen.steady.blocks, slice(at.settled, at.stop), seen.steady.blocks.step_s
    omega = seen.steady.speed_rad_s[rows]
    moving, speed = trend(omega, step), float(omega.mean())
    alpha = _slope_over(blocks.mean(seen.signal.values)[rows], step, seen.signal.derivative)
    power, moment = _power(seen, rows, calibration)
    by_surface = seen.signal.source == "roller_surface_speed_m_s"
    shares = {**power_parts(moment, calibration, by_surface, seen.brake.by_force), **air_parts}
    k = 1.0 if corrected is None else corrected.value
    turning = None if seen.engine_rpm is None else _mean_of(blocks.mean(seen.engine_rpm)[rows], step)
    first, last = float(blocks.time_s[at.settled]) - 0.5 * step, float(blocks.time_s[at.stop - 1]) + 0.5 * step
    return HeldAt(
        start_s=float(blocks.time_s[at.start]) - 0.5 * step,
        settled_s=first,
        end_s=last,
        roller_speed_rad_s=_told(moving),
        engine_speed_rpm=turning,
        observed_power=_told(power),
        power_w=k * power.value,
        expanded_uncertainty_w=2.0 * k * abs(power.value) * sum(one * one for one in shares.values()) ** 0.5,
        parts_pct={name: 100.0 * abs(one) for name, one in shares.items()},
        inertial_w=calibration.inertia_kg_m2 * alpha * speed,
        brake_w=speed * moment.brake_nm,
        loss_w=float((omega * calibration.loss_nm(omega)).mean()),
        torque_nm=None if turning is None else k * power.value / turning.value * _RPM,
        throttle=None if seen.throttle is None else _mean_of(blocks.mean(seen.throttle)[rows], step),
        lambda_measured=_late(seen.base, "lambda_measured", first + lag_s, last + lag_s),
        lambda_commanded=_over(seen.base, "lambda_commanded", first, last),
        is_settled=_stands_still(moving, power, last - first),
        independent=power.independent,
        channels=_means(seen.base, first, last),
    )


def _power(seen: _Seen, rows: slice, calibration: RollerCalibration) -> tuple[Trend, Moment]:
    """Observed power over some blocks, in W, its mean from one line through all; and what it is made of."""
    omega, step = seen.steady.speed_rad_s[rows], seen.steady.blocks.step_s
    speed, loss, by_second = float(omega.mean()), calibration.loss_nm(omega), seen.drive_nm[rows]
    drive = calibration.inertia_kg_m2 * _slope_over(seen.gained[rows], step, seen.signal.derivative)
    power = trend(omega * (by_second + loss), step)
    power = replace(power, value=power.value + speed * (drive - float(by_second.mean())))
    torque = seen.brake.torque_nm
    moment = Moment(
        omega_rad_s=speed,
        drive_nm=drive,
        brake_nm=0.0 if torque is None else float(seen.steady.blocks.mean(torque)[rows].mean()),
        loss_nm=float(loss.mean()),
        noise_nm=widened(power.u_mean, power.independent) / speed,
    )
    return power, moment


def _slope_over(values: Array, step_s: float, derivative: int) -> float:
    """First derivative of a line, or second of a parabola, through all of these."""
    made = trend(values, step_s, derivative)
    return made.slope if derivative == 1 else made.bend


def _stands_still(speed: Trend, power: Trend, lasting_s: float) -> bool:
    """Neither moves by more than its share over the settled part, or by more than its own uncertainty says."""
    allowed = ((speed, _STILL), (power, _STILL_POWER))
    return all(abs(one.slope) <= max(share * abs(one.value) / lasting_s, 2.0 * one.u_slope) for one, share in allowed)


def _told(of: Trend) -> Mean:
    return Mean(of.value, of.u_mean, of.spread, of.slope, of.u_slope)


def _mean_of(values: Array, step_s: float) -> Mean:
    return _told(trend(values, step_s))


def _rows(base: TimeBase, first_s: float, last_s: float) -> slice:
    time = base.channels["time_s"]
    return slice(int(np.searchsorted(time, first_s)), int(np.searchsorted(time, last_s, side="right")))


def _over(base: TimeBase, name: str, first_s: float, last_s: float) -> float | None:
    """The mean of what is known between two moments; None where nothing is."""
    if name not in base.channels:
        return None
    values = base.channels[name][_rows(base, first_s, last_s)]
    known = values[np.isfinite(values)]
    return float(known.mean()) if len(known) else None


def _late(base: TimeBase, name: str, first_s: float, last_s: float) -> Mean | None:
    if name not in base.channels:
        return None
    values = base.channels[name][_rows(base, first_s, last_s)]
    each = max(1, round(0.1 / base.step_s))
    count = len(values) // each
    if count < 4 or not np.isfinite(values).all():
        mean = _over(base, name, first_s, last_s)
        return None if mean is None else Mean(mean, np.nan, np.nan, np.nan, np.nan)
    return _mean_of(values[: count * each].reshape(count, each).mean(axis=1), each * base.step_s)


def _means(base: TimeBase, first_s: float, last_s: float) -> dict[str, float]:
    found = ((name, _over(base, name, first_s, last_s)) for name in _MEANS)
    return {name: value for name, value in found if value is not None}


def _bridged(base: TimeBase, name: str) -> Array | None:
    """A channel without its blanks; None where most of it is blank."""
    values = base.channels.get(name)
    if values is None:
        return None
    known = np.isfinite(values)
    if known.all():
        return values
    if np.count_nonzero(known) < 0.5 * len(values):
        return None
    time = base.channels["time_s"]
    return np.interp(time, time[known], values[known])


def _engine_rpm(base: TimeBase, signal: RollerSignal, settings: HoldSettings) -> Array | None:
    """Engine speed at each row, dropouts bridged; from the stated ratio where it was not recorded."""
    time, given = base.channels["time_s"], base.channels.get("engine_speed_rpm")
    if given is not None:
        turning = np.isfinite(given) & (given > 0.0)
        if np.count_nonzero(turning) > 0.5 * len(given):
            return given if turning.all() else np.interp(time, time[turning], given[turning])
    if settings.engine_turns_per_roller_turn is None:
        return None
    return signal.speed_rad_s * (_RPM * settings.engine_turns_per_roller_turn)


def _flags(plateaus: list[HeldAt], brake: Brake, standard: str, air: Air | None) -> tuple[Flag, ...]:
    flags = []
    if not plateaus:
        text = (
            "Roller speed and throttle never stand still for 2 s: there is no plateau to read. Hold each speed for "
            "10 s or more once it has settled, or file this as another kind of pull."
        )
        flags.append(Flag("no_plateau", text))
    if plateaus and brake.torque_nm is None:
        text = (
            "No brake torque was recorded: what is shown is only what the bare rollers take at a steady speed. Map the "
            "brake's torque or load-cell force."
        )
        flags.append(Flag("no_brake", text))
    moving = [one for one in plateaus if not one.is_settled]
    if moving:
        at = ", ".join(f"{one.settled_s:.0f} to {one.end_s:.0f} s" for one in moving)
        text = (
            f"Still moving over the settled part of {len(moving)} of {len(plateaus)} plateaus ({at}): speed or power "
            "drifts. Power there includes J·α; hold longer, and watch intake and coolant temperature."
        )
        flags.append(Flag("not_settled", text))
    if air is None and standard != "observed":
        text = (
            "There is no weather reading for this pull: it is shown as observed. Record the cell's air to correct it."
        )
        flags.append(Flag("no_weather", text))
    return tuple(flags)
