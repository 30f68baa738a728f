"""What a logger writes down of a pull: sampled, noisy, counted in pulses, late and with gaps; repeatable by seed."""

from dataclasses import dataclass

import numpy as np

from seed_demo.holding_run import HeldRun
from seed_demo.rolling_road import RPM, Run
from seed_demo.shapes import Floats


@dataclass(frozen=True)
class Instruments:
    """One logger and its pick-ups."""

    rate_hz: float = 200.0
    jitter_s: float = 0.0  # of the sampling times; the time written down is the true one
    speed_noise_rev_min: float = 0.0  # standard deviation, of the roller speed
    pulses_per_turn: int | None = None  # counted exactly: the floor of the angle
    first_pulse_rad: float = 0.0  # where the first tooth stands
    engine_speed_noise_rpm: float = 0.0
    engine_speed_dropouts: float = 0.0  # share of samples that read zero
    brake_noise_nm: float = 0.0
    lambda_delay_s: float = 0.35  # gas on its way to the probe
    lambda_lag_s: float = 0.10  # first-order answer of the probe
    lambda_noise: float = 0.0
    pressure_noise_kpa: float = 0.0
    temperature_noise_c: float = 0.0


def record(run: Run | HeldRun, instruments: Instruments, seed: int) -> dict[str, Floats]:
    """Every channel by name, inside units, one length; the same seed gives the same bits."""
    chance = np.random.default_rng(seed)
    t = _stamps(run, instruments, chance)
    truth = run.at(t)
    noise = chance.standard_normal((6, len(t)))
    throttle_pct = 100.0 * truth.throttle
    seen = {
        "time_s": t,
        "roller_speed_rad_s": truth.roller_speed_rad_s + noise[0] * instruments.speed_noise_rev_min / RPM,
        "engine_speed_rpm": truth.engine_speed_rpm + noise[1] * instruments.engine_speed_noise_rpm,
        "brake_torque_nm": truth.brake_nm + noise[2] * instruments.brake_noise_nm,
        "throttle_pct": np.clip(throttle_pct, 0.0, 100.0),
        "lambda_commanded": run.asked(truth),
        "lambda_measured": _late_lambda(run, instruments, t) + noise[3] * instruments.lambda_noise,
        "manifold_pressure_kpa": _manifold_kpa(run, t) + noise[4] * instruments.pressure_noise_kpa,
        "intake_temperature_c": truth.intake_temperature_c + noise[5] * instruments.temperature_noise_c,
    }
    seen["roller_surface_speed_m_s"] = seen["roller_speed_rad_s"] * run.roller.radius_m
    if instruments.pulses_per_turn is not None:
        turns = (truth.roller_angle_rad + instruments.first_pulse_rad) / (2.0 * np.pi)
        seen["roller_pulses"] = np.floor(turns * instruments.pulses_per_turn)
        seen["roller_pulse_increments"] = np.diff(seen["roller_pulses"], prepend=seen["roller_pulses"][:1])
    seen.update(_side_channels(run, t, seen["manifold_pressure_kpa"]))
    lost = chance.random(len(t)) < instruments.engine_speed_dropouts
    seen["engine_speed_rpm"] = np.where(lost, 0.0, seen["engine_speed_rpm"])
    return seen


def _stamps(run: Run | HeldRun, instruments: Instruments, chance: np.random.Generator) -> Floats:
    count = int(run.duration_s * instruments.rate_hz + 1e-6)
    t = np.arange(count) / instruments.rate_hz
    if instruments.jitter_s:
        t = np.clip(t + chance.uniform(-1.0, 1.0, count) * instruments.jitter_s, 0.0, run.duration_s)
        t = np.maximum.accumulate(t)
    return t


def _late_lambda(run: Run | HeldRun, instruments: Instruments, t: Floats) -> Floats:
    """True λ, delayed by its way through the pipe, then through a first-order probe stepped finely and exactly."""
    step = 1e-3
    fine: Floats = np.arange(int(run.duration_s / step), dtype=np.float64) * step
    truth = run.at(fine)
    arrived = np.interp(fine - instruments.lambda_delay_s, fine, run.burnt(truth))
    keep = float(np.exp(-step / instruments.lambda_lag_s)) if instruments.lambda_lag_s > 0.0 else 0.0
    answer, now = np.empty_like(arrived), float(arrived[0])
    for index, value in enumerate(arrived.tolist()):
        now = value + (now - value) * keep
        answer[index] = now
    answered: Floats = np.interp(t, fine, answer)
    return answered


def _manifold_kpa(run: Run | HeldRun, t: Floats) -> Floats:
    """Absolute: the day's pressure less what the throttle takes, plus boost as far as it is there."""
    truth, engine = run.at(t), run.car.engine
    drawn: Floats = run.day.pressure_kpa * (0.30 + 0.68 * truth.throttle)
    boost: Floats = truth.boost * engine.boost_kpa(truth.engine_speed_rpm)
    return drawn + boost


def _side_channels(run: Run | HeldRun, t: Floats, manifold_kpa: Floats) -> dict[str, Floats]:
    """What else a logger keeps: slow temperatures, timing that yields to knock, a rail that sags."""
    truth, engine = run.at(t), run.car.engine
    warming = 1.0 - np.exp(-t / 9.0)
    short = engine.lambda_error(truth.engine_speed_rpm)
    retard = 60.0 * engine.retard_share(truth.intake_temperature_c)
    return {
        "manifold_gauge_kpa": manifold_kpa - run.day.pressure_kpa,
        "coolant_temperature_c": 86.0 + 5.0 * warming,
        "oil_temperature_c": 92.0 + 11.0 * warming,
        "ignition_advance_deg": 12.0 + 14.0 * np.clip(truth.engine_speed_rpm / 5000.0, 0.0, 1.0) - retard,
        "knock_retard_deg": retard,
        "fuel_pressure_kpa": 350.0 / (short * short),
        "battery_v": 13.9 - 0.3 * truth.throttle,
        "vehicle_speed_m_s": truth.roller_speed_rad_s * run.roller.radius_m,
    }
