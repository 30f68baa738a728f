"""Sweeps whose truth is known in closed form or to the last digit that matters, for the tests of this folder.

Torque of the driven roller is a function of its speed, so time is the integral of J/torque over speed: exact for any
torque, with no step-by-step integration.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import NDArray

from pullbook.measure.correction import Engine
from pullbook.measure.curve import Curve, RollerCalibration, SweepSettings, read_sweep

Array = NDArray[np.float64]
RATIO = 4.2  # engine turns per roller turn
RPM = 60.0 / (2.0 * pi)
OBSERVED = SweepSettings(standard="observed")
SPARK = Engine("spark", "natural")


def corners(rpm: Array) -> Array:
    """Roller torque, N·m, with boost that comes sharply and a limiter that takes it back."""
    return np.interp(rpm, [900.0, 2400.0, 3200.0, 5000.0, 6100.0, 7000.0], [620.0, 700.0, 1020.0, 1020.0, 850.0, 600.0])


def rounded(rpm: Array) -> Array:
    """Roller torque, N·m, as a naturally breathing engine has it."""
    return 700.0 + 220.0 * np.sin(pi * (rpm - 1200.0) / 5200.0)


@dataclass(frozen=True)
class MadeSweep:
    """Truth on a fine base of roller speed: total torque, time and angle."""

    omega: Array
    torque_nm: Array
    time_s: Array
    angle_rad: Array
    inertia_kg_m2: float

    def power_w(self, engine_rpm: Array, ratio: float = RATIO) -> Array:
        """True roller power at engine speeds."""
        return np.interp(engine_rpm / ratio / RPM, self.omega, self.omega * self.torque_nm)

    def peak_power_w(self) -> float:
        """The highest over the sweep."""
        return float((self.omega * self.torque_nm).max())

    def channels(
        self, rate_hz: float, noise_rev_min: float = 0.0, seed: int = 0, pulses: int | None = None, **more: Array
    ) -> dict[str, Array]:
        """Time, roller speed or pulses, engine speed."""
        chance = np.random.default_rng(seed)
        time = np.arange(0.0, self.time_s[-1], 1.0 / rate_hz)
        omega = np.interp(time, self.time_s, self.omega)
        made = {"time_s": time, "engine_speed_rpm": omega * RPM * RATIO, **more}
        if pulses is None:
            made["roller_speed_rad_s"] = omega + chance.normal(0.0, noise_rev_min / RPM, len(time))
        else:
            turns = (np.interp(time, self.time_s, self.angle_rad) + chance.uniform(0.0, 2.0 * pi)) / (2.0 * pi)
            made["roller_pulses"] = np.floor(turns * pulses)
        return made

    def calibration(self, **other: float) -> RollerCalibration:
        """The roller's constants."""
        return RollerCalibration(**{"inertia_kg_m2": self.inertia_kg_m2, "roller_radius_m": 0.25, **other})


def sweep_lasting(
    seconds: float,
    torque: Callable[[Array], Array] = rounded,
    low_rpm: float = 1500.0,
    high_rpm: float = 6600.0,
    against_nm: float = 0.0,
) -> MadeSweep:
    """A sweep of that length: the inertia is what makes it so. `against_nm`: what a brake or losses hold back."""
    omega = np.linspace(low_rpm, high_rpm, 200_001) / RATIO / RPM
    torque_nm = torque(omega * RPM * RATIO)
    slow = 1.0 / (torque_nm - against_nm)
    time = _integral(slow, omega)
    inertia = seconds / time[-1]
    return MadeSweep(omega, torque_nm, time * inertia, _integral(omega * slow, omega) * inertia, inertia)


def driven_against(torque: Callable[[Array], Array], brake_nm: Array, inertia: float, step_s: float) -> Array:
    """Roller speed from 1500 rev/min on while a brake does as it likes with time: midpoint steps, rad/s."""
    knots = np.linspace(1000.0, 8000.0, 7001)
    table, omega, made = torque(knots), 1500.0 / RATIO / RPM, np.empty(len(brake_nm))
    for index, held in enumerate(brake_nm.tolist()):
        made[index] = omega
        half = omega + 0.5 * step_s * (np.interp(omega * RPM * RATIO, knots, table) - held) / inertia
        omega += step_s * (np.interp(half * RPM * RATIO, knots, table) - held) / inertia
    return made


def _integral(y: Array, x: Array) -> Array:
    return np.concatenate(([0.0], np.cumsum(0.5 * (y[1:] + y[:-1]) * np.diff(x))))


def read(made: MadeSweep, channels: dict[str, Array], settings: SweepSettings = OBSERVED, **constants: float) -> Curve:
    """Read it as observed."""
    return read_sweep(channels, made.calibration(**constants), None, SPARK, settings)


def errors_pct(made: MadeSweep, curve: Curve) -> tuple[float, float, float]:
    """rms and worst over the middle 80 % of engine speed, and the peak, in per cent of the truth."""
    low, high = made.omega[0] * RPM * RATIO, made.omega[-1] * RPM * RATIO
    grid = curve.engine_speed_rpm
    middle = (grid >= low + 0.1 * (high - low)) & (grid <= high - 0.1 * (high - low))
    off = 100.0 * (curve.observed_power_w[middle] / made.power_w(grid[middle]) - 1.0)
    peak = 100.0 * abs(curve.headline.peak_power_w.value / made.peak_power_w() - 1.0)
    return float(np.sqrt(np.mean(off**2))), float(np.abs(off).max()), peak
