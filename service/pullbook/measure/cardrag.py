"""A car coasting on the rollers with its engine declutched: its drag there, and an estimate of power at the engine.

All that turns, rollers and wheels alike, is slowed by roller losses and the car's drag together:
D(ω) = (J + J_car)·|ω′| − τ_l(ω). What turns in the car is not in the cell's J and must be stated; it moves the answer
more than anything else, so where it is not stated a guess stands in with an uncertainty as large as itself.

The estimate adds to power at the wheels what the coasting car took at that speed, and what its turning parts took up in
the sweep. It is an estimate: a tyre that drives loses more than one that rolls, and so do gears under load.
"""

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.measure.coastdown import CoastDown
from pullbook.measure.curveparts import Array, RollerCalibration

TURNING_SHARE = 0.03  # of the car's mass, seen at the rollers' rim: two wheels, hubs, shafts; common practice
LOADED_SHARE_U = 0.35  # of drag: how much more a driven tyre and loaded gears may take than coasting ones; a guess


@dataclass(frozen=True)
class CarDrag:
    """The car's drag as torque at the roller, N·m, over speed, with standard uncertainties; power is W at the roller.

    coefficients: c0, c1, c2 of it. roller_nm: what the rollers themselves take. extra_kg_m2, extra_u_kg_m2: inertia of
    what turns in the car, stated or guessed.
    """

    at_rad_s: Array
    drag_nm: Array
    drag_u_nm: Array
    roller_nm: Array
    coefficients: Array
    extra_kg_m2: float
    extra_u_kg_m2: float
    extra_stated: bool
    slowing_rad_s2: Array  # how fast car and rollers slow down by themselves, one value a speed

    @property
    def power_w(self) -> Array:
        """What the coasting car takes, W, one value a speed."""
        return self.drag_nm * self.at_rad_s

    def nm(self, omega_rad_s: Array) -> tuple[Array, Array]:
        """Drag and its standard uncertainty at these speeds; beyond the coast-down's reach the fit is carried on, and
        the uncertainty with it."""
        drag = self.coefficients[0] + omega_rad_s * (self.coefficients[1] + omega_rad_s * self.coefficients[2])
        u = np.interp(omega_rad_s, self.at_rad_s, self.drag_u_nm)
        beyond = np.maximum(omega_rad_s - self.at_rad_s[-1], 0.0) + np.maximum(self.at_rad_s[0] - omega_rad_s, 0.0)
        return drag, u * (1.0 + beyond / float(np.ptp(self.at_rad_s)))


@dataclass(frozen=True)
class EngineEstimate:
    """Observed power at the wheels, W, and the estimate at the engine with its expanded uncertainty (k = 2)."""

    wheel_w: Array
    estimate_w: Array
    expanded_w: Array


def guessed_extra(mass_kg: float | None, calibration: RollerCalibration) -> tuple[float, float]:
    """What turns in a car nobody measured, kg·m² seen from the roller, and an uncertainty as large as the guess."""
    guess = TURNING_SHARE * (mass_kg or 1400.0) * calibration.roller_radius_m**2
    return guess, guess


def car_drag(
    run: CoastDown, calibration: RollerCalibration, extra_kg_m2: float, extra_u_kg_m2: float, stated: bool
) -> CarDrag:
    """Drag from a fitted coast-down of car and rollers together."""
    inertia = calibration.inertia_kg_m2 + extra_kg_m2
    at = np.linspace(run.low_rad_s, run.high_rad_s, 25)
    powers = np.vander(at, 3, increasing=True)
    slowing = powers @ run.per_inertia
    roller = calibration.loss_nm(at)
    fit = inertia * np.sqrt(np.einsum("ij,jk,ik->i", powers, run.covariance, powers))
    by_inertia = np.abs(slowing) * np.hypot(calibration.inertia_u_kg_m2, extra_u_kg_m2)
    lost = np.array([calibration.loss_c0_nm, calibration.loss_c1_nm_s, calibration.loss_c2_nm_s2])
    return CarDrag(
        at_rad_s=at,
        drag_nm=inertia * slowing - roller,
        drag_u_nm=np.sqrt(fit**2 + by_inertia**2 + calibration.loss_u_nm**2),
        roller_nm=roller,
        coefficients=inertia * run.per_inertia - lost,
        extra_kg_m2=extra_kg_m2,
        extra_u_kg_m2=extra_u_kg_m2,
        extra_stated=stated,
        slowing_rad_s2=slowing,
    )


def engine_estimate(
    wheel_w: Array,
    wheel_u_w: Array,
    omega_rad_s: Array,
    calibration: RollerCalibration,
    drag: CarDrag,
    speeding_share: float,
) -> EngineEstimate:
    """Power at the engine over a sweep: arrays of one length, `omega_rad_s` rising roller speed, powers observed ones.

    `speeding_share`: how much of that power went into speeding the rollers up; what turns in the car took up as much
    again in the ratio of their inertias.
    """
    torque, u_nm = drag.nm(omega_rad_s)
    sped = speeding_share * wheel_w / calibration.inertia_kg_m2
    taken_up = drag.extra_kg_m2 * sped
    u_taken = drag.extra_u_kg_m2 * sped
    u_slowed = drag.extra_u_kg_m2 * np.interp(omega_rad_s, drag.at_rad_s, drag.slowing_rad_s2) * omega_rad_s
    both = 2.0 * u_taken * u_slowed  # one inertia: too much of it in the drag is too much in the sweep (GUM 5.2)
    lost = torque * omega_rad_s
    u = np.sqrt(wheel_u_w**2 + (u_nm * omega_rad_s) ** 2 + u_taken**2 + both + (LOADED_SHARE_U * lost) ** 2)
    return EngineEstimate(wheel_w, wheel_w + lost + taken_up, 2.0 * u)
