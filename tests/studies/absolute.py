"""Is the truth within the expanded uncertainty as often as it says? `python -m tests.studies.absolute` prints it.

A thousand pulls. In each the constants that the service is told (inertia, radius, losses, brake, the instruments of the
air and of speed) are off by what their standard uncertainties allow, drawn anew; the samples carry noise or come in
pulses. The truth is known in closed form. Counted is how often peak power, peak torque and mean power over the band lie
within their expanded uncertainty of it, and by how many standard uncertainties they are off in the root mean square.
"""

import sys
from collections.abc import Callable
from dataclasses import dataclass
from math import pi, sqrt

import numpy as np

from pullbook.measure.air import Air, air_from_relative_humidity
from pullbook.measure.correction import factor
from pullbook.measure.curve import RollerCalibration, SweepSettings, read_sweep
from pullbook.measure.uncertainty import BRAKE_ZERO_U_NM, HUMIDITY_U_PCT, PRESSURE_U_KPA, SPEED_U, TEMPERATURE_U_C
from tests.measure.made_sweeps import RATIO, RPM, SPARK, Array, corners, rounded

PULLS = 1000
HELD_PCT = 95.0
FIGURES = ("peak_power_w", "peak_torque_nm", "mean_power_w")


def no_brake(omega: Array) -> Array:
    """The roller alone."""
    return np.zeros_like(omega)


def following(omega: Array) -> Array:
    """A brake that takes more the faster the roller turns, N·m."""
    return 120.0 + 1.6 * omega


@dataclass(frozen=True)
class Case:
    """A cell, a car, a day. Each `…_u` is a standard uncertainty as a share of its constant unless it names a unit."""

    name: str
    torque_nm: Callable[[Array], Array]
    seconds: float
    air: tuple[float, float, float]  # °C, kPa, % relative humidity
    standard: str
    rate_hz: float = 200.0
    noise_rev_min: float = 0.3
    pulses: int = 0
    by_surface: bool = False
    brake_nm: Callable[[Array], Array] = no_brake
    inertia_u: float = 0.004
    radius_u: float = 0.001
    loss_u_nm: float = 1.0
    scale_u: float = 0.002
    arm_u: float = 0.001


CASES = (
    Case("roller alone, mild day", rounded, 8.0, (20.0, 100.0, 50.0), "iso_1585"),
    Case("surface speed", rounded, 10.0, (12.0, 98.5, 70.0), "sae_j1349", by_surface=True, inertia_u=0.002),
    Case("brake by load cell", corners, 12.0, (24.0, 97.0, 40.0), "iso_1585", brake_nm=following, inertia_u=0.002),
    Case("60 pulses a turn", rounded, 14.0, (30.0, 99.0, 60.0), "din_70020", rate_hz=100.0, pulses=60),
    Case(
        "well-known inertia, mountain",
        rounded,
        9.0,
        (5.0, 82.0, 30.0),
        "sae_j607",
        inertia_u=0.0005,
        loss_u_nm=0.2,
        noise_rev_min=0.6,
    ),
)


@dataclass(frozen=True)
class World:
    """The truth of a case on a fine base of roller speed."""

    omega: Array
    torque_nm: Array  # all that the car drives with
    brake_nm: Array
    time_s: Array
    angle_rad: Array
    inertia_kg_m2: float
    true: RollerCalibration

    def figures(self, k: float, band_rpm: tuple[float, float]) -> tuple[float, float, float]:
        """Peak power in W, peak torque in N·m at the engine, mean power over a band in W."""
        power = k * self.omega * self.torque_nm
        rpm = self.omega * RPM * RATIO
        fine = np.linspace(*band_rpm, 4001)
        return float(power.max()), float((power / rpm).max()) * 30.0 / pi, float(np.interp(fine, rpm, power).mean())


def world_of(case: Case) -> World:
    """Time is the integral of inertia over what is left to accelerate it: exact for any torque."""
    omega = np.linspace(1500.0, 6600.0, 100_001) / RATIO / RPM
    torque, brake = case.torque_nm(omega * RPM * RATIO), case.brake_nm(omega)
    bare = RollerCalibration(1.0, 0.25, loss_c0_nm=9.0, loss_c1_nm_s=0.06, loss_c2_nm_s2=4e-4, brake_arm_m=0.4)
    slow = 1.0 / (torque - brake - bare.loss_nm(omega))
    time = _integral(slow, omega)
    inertia = case.seconds / float(time[-1])
    true = RollerCalibration(inertia, 0.25, loss_c0_nm=9.0, loss_c1_nm_s=0.06, loss_c2_nm_s2=4e-4, brake_arm_m=0.4)
    return World(omega, torque, brake, time * inertia, _integral(omega * slow, omega) * inertia, inertia, true)


def _integral(y: Array, x: Array) -> Array:
    return np.concatenate(([0.0], np.cumsum(0.5 * (y[1:] + y[:-1]) * np.diff(x))))


def _even(chance: np.random.Generator, u: float) -> float:
    """Anything within √3 standard uncertainties, all alike likely."""
    return float(chance.uniform(-sqrt(3.0) * u, sqrt(3.0) * u))


def told(case: Case, world: World, chance: np.random.Generator) -> RollerCalibration:
    """The constants as the shop has them: each off by what its uncertainty allows."""
    true = world.true
    arm = 0.4
    return RollerCalibration(
        inertia_kg_m2=true.inertia_kg_m2 * (1.0 + float(chance.normal(0.0, case.inertia_u))),
        roller_radius_m=0.25 * (1.0 + float(chance.normal(0.0, case.radius_u))),
        inertia_u_kg_m2=case.inertia_u * true.inertia_kg_m2,
        roller_radius_u_m=case.radius_u * 0.25,
        pulses_per_turn=case.pulses or None,
        loss_c0_nm=true.loss_c0_nm + float(chance.normal(0.0, case.loss_u_nm)),
        loss_c1_nm_s=true.loss_c1_nm_s,
        loss_c2_nm_s2=true.loss_c2_nm_s2,
        loss_u_nm=case.loss_u_nm,
        brake_arm_m=arm * (1.0 + float(chance.normal(0.0, case.arm_u))),
        brake_arm_u_m=case.arm_u * arm,
        brake_scale=1.0 + float(chance.normal(0.0, case.scale_u)),
        brake_scale_u=case.scale_u,
        brake_zero_nm=_even(chance, BRAKE_ZERO_U_NM),
    )


def samples(case: Case, world: World, chance: np.random.Generator) -> dict[str, Array]:
    """What the logger writes: noise, pulses, a clock and a pick-up that are off a little."""
    time = np.arange(0.0, world.time_s[-1], 1.0 / case.rate_hz)
    pace = 1.0 + _even(chance, SPEED_U)
    omega = np.interp(time, world.time_s, world.omega)
    made = {"time_s": time, "engine_speed_rpm": omega * RPM * RATIO}
    noisy = omega * pace + chance.normal(0.0, case.noise_rev_min / RPM, len(time))
    if case.pulses:
        turns = pace * (np.interp(time, world.time_s, world.angle_rad) + chance.uniform(0.0, 2.0 * pi)) / (2.0 * pi)
        made["roller_pulses"] = np.floor(turns * case.pulses)
    elif case.by_surface:
        made["roller_surface_speed_m_s"] = noisy * 0.25
    else:
        made["roller_speed_rad_s"] = noisy
    if case.brake_nm is not no_brake:
        brake = np.interp(omega, world.omega, world.brake_nm)
        made["brake_force_n"] = brake / 0.4 + chance.normal(0.0, 4.0, len(time))
    return made


def read_air(case: Case, chance: np.random.Generator) -> Air:
    """The day as ordinary instruments tell it."""
    warm, pressure, moist = case.air
    return air_from_relative_humidity(
        warm + _even(chance, TEMPERATURE_U_C),
        pressure + _even(chance, PRESSURE_U_KPA),
        min(100.0, max(0.0, moist + _even(chance, HUMIDITY_U_PCT))),
    )


def off_by(case: Case, world: World, seed: int) -> list[tuple[float, float]]:
    """For each figure: how far it is off, and its expanded uncertainty, as shares of the truth."""
    chance = np.random.default_rng([seed, CASES.index(case)])
    settings = SweepSettings(case.standard)
    made = read_sweep(samples(case, world, chance), told(case, world, chance), read_air(case, chance), SPARK, settings)
    k = factor(case.standard, air_from_relative_humidity(*case.air), SPARK).value
    truth = world.figures(k, made.headline.band_rpm)
    figures = [getattr(made.headline, name) for name in FIGURES]
    return [
        (figure.value / true - 1.0, figure.expanded_uncertainty / true)
        for figure, true in zip(figures, truth, strict=True)
    ]


def study(pulls: int) -> Array:
    """Pulls by figures by (off, expanded), shares of the truth; the cases take turns."""
    worlds = [world_of(case) for case in CASES]
    return np.array(
        [off_by(CASES[seed % len(CASES)], worlds[seed % len(CASES)], seed) for seed in range(pulls)], np.float64
    )


def held_pct(found: Array) -> Array:
    """How often each figure's truth lies within its expanded uncertainty, %."""
    made: Array = 100.0 * (np.abs(found[..., 0]) <= found[..., 1]).mean(axis=0)
    return made


def main() -> int:
    """0 where every figure's truth is held at least as often as promised."""
    found = study(PULLS)
    print(f"{PULLS} pulls; truth within the expanded uncertainty, % of pulls | off by, rms in standard uncertainties")
    print(f"{'':32}{'peak power':>18}{'peak torque':>18}{'mean power':>18}{'U of peak, %':>14}")
    rows = [(case.name, found[place :: len(CASES)]) for place, case in enumerate(CASES)]
    for name, part in [*rows, ("all", found)]:
        cells = [
            f"{held:9.1f} |{rms:5.2f}  "
            for held, rms in zip(
                held_pct(part), np.sqrt(np.mean((2.0 * part[..., 0] / part[..., 1]) ** 2, 0)), strict=True
            )
        ]
        print(f"{name:32}{''.join(cell.rjust(18) for cell in cells)}{100.0 * part[:, 0, 1].mean():14.2f}")
    return 0 if (held_pct(found) >= HELD_PCT).all() else 1


if __name__ == "__main__":
    sys.exit(main())
