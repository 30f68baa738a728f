"""A car held by the brake: speed as a controller lets it, throttle as the driver has it, the brake takes what is left.

The other way round than a sweep: speed is given, so acceleration is too, and the brake's torque is what balances the
roller. It answers as a sweep's run does, so the same instruments write it down. Speed follows its target by a
first-order approach, with a slow hunting of the controller on top.
"""

from dataclasses import dataclass
from math import pi

import numpy as np

from seed_demo.rolling_road import REFERENCE_DAY, RPM, Car, Day, Roller, Truth
from seed_demo.shapes import Floats, Shape, level, smooth

_STEP_S = 1e-3
_NOTHING = level(0.0)
_EASED = smooth((0.0, 0.0), (0.7, 0.0), (0.85, 0.6), (0.95, 1.0), (1.0, 1.0))  # share of the full-load command


@dataclass(frozen=True)
class HoldPlan:
    """Target engine speed in rev/min and throttle (0 to 1), both against time in s; how the controller approaches."""

    target_rpm: Shape
    throttle: Shape
    lasts_s: float
    approach_s: float = 0.6  # time constant
    hunts: float = 0.0  # of speed
    hunting_hz: float = 0.7
    intake_over_k: float = 0.0  # over the day's air, as it begins
    intake_rise_k_per_s: float = 0.02
    eased: bool = False  # whether less throttle is asked to burn at λ 1, as a controller does away from full load
    wrong_by_speed: Shape = _NOTHING  # true λ over commanded, less one: this against rev/min ...
    wrong_by_throttle: Shape = _NOTHING  # ... times this against throttle; the engine's own error comes on top


class HeldRun:
    """One held run: exact truth at any time."""

    def __init__(self, car: Car, roller: Roller, plan: HoldPlan, day: Day = REFERENCE_DAY) -> None:
        self.car, self.roller, self.plan, self.day = car, roller, plan, day
        fine = np.arange(0.0, plan.lasts_s + 2 * _STEP_S, _STEP_S)
        target = plan.target_rpm(fine) / RPM / car.turns
        speed, keep = np.empty_like(target), float(np.exp(-_STEP_S / plan.approach_s))
        now = float(target[0])
        for index, wanted in enumerate(target.tolist()):
            speed[index] = now
            now = wanted + (now - wanted) * keep
        speed *= 1.0 + plan.hunts * np.sin(2.0 * pi * plan.hunting_hz * fine)
        self._fine, self._speed = fine, speed
        self._acceleration = np.gradient(speed, _STEP_S)
        self._angle = np.concatenate(([0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]) * _STEP_S)))

    @property
    def duration_s(self) -> float:
        """From the first sample to the last."""
        return self.plan.lasts_s

    @property
    def sweep_s(self) -> tuple[float, float]:
        """The whole of it: there is no sweep."""
        return 0.0, self.plan.lasts_s

    def asked(self, truth: Truth) -> Floats:
        """λ that the engine's controller asks for at these moments."""
        full = self.car.engine.commanded_lambda(truth.engine_speed_rpm)
        if not self.plan.eased:
            return full
        made: Floats = 1.0 + np.clip(_EASED(truth.throttle), 0.0, 1.0) * (full - 1.0)
        return made

    def burnt(self, truth: Truth) -> Floats:
        """λ that is really burnt at these moments."""
        plan, n = self.plan, truth.engine_speed_rpm
        wrong = plan.wrong_by_speed(n) * plan.wrong_by_throttle(truth.throttle)
        made: Floats = self.asked(truth) * self.car.engine.lambda_error(n) * (1.0 + wrong)
        return made

    def at(self, time_s: Floats) -> Truth:
        """The truth at any times within the run."""
        t = np.asarray(time_s, np.float64)
        omega, accel, angle = (np.interp(t, self._fine, one) for one in (self._speed, self._acceleration, self._angle))
        n = self.car.turns * omega * RPM
        throttle = self.plan.throttle(t)
        boost = np.clip(2.0 * throttle - 1.0, 0.0, 1.0)
        intake = self.day.temperature_c + self.plan.intake_over_k + self.plan.intake_rise_k_per_s * t
        torque = self.car.engine.torque(n, throttle, boost, intake, self.day)
        contact = self.car.efficiency * self.car.turns * torque - self.car.inertia_kg_m2 * accel
        loss = self.roller.loss_nm(omega)
        brake = contact - self.roller.inertia_kg_m2 * accel - loss
        return Truth(t, omega, accel, angle, omega * contact, brake, loss, n, torque, throttle, boost, intake)

    def mean_power_w(self, first_s: float, last_s: float) -> float:
        """True mean roller power between two moments."""
        return float(self.at(np.arange(first_s, last_s, 1e-3)).roller_power_w.mean())
