"""A car on a roller, integrated in time: the truth that a reading of the recorded channels must give back.

Written apart from the service and importing nothing of it, so that each can be held against the other. The car side:

    eta * G * T_engine(n) = J_car * d(omega_wheel)/dt + tau_contact      omega_wheel = omega * (1 + slip(omega))
    tau_contact           = J * d(omega)/dt + tau_brake(omega) + c0 + c1*omega + c2*omega^2
    roller power          = omega * tau_contact                          n = G * omega_wheel * 60 / (2 pi)

with speeds referred to the roller. Torque answers to the air by a rule of its own (see `Engine.torque`): what an engine
breathes goes with dry pressure over the root of the charge's absolute temperature, less a friction that does not.
"""

from dataclasses import dataclass, field, replace
from math import pi
from typing import Any

import numpy as np

from seed_demo.shapes import Floats, Shape, level, lines

RPM = 60.0 / (2.0 * pi)
_NONE = level(0.0)
_ONE = level(1.0)


@dataclass(frozen=True)
class Day:
    """The air that the engine breathes."""

    temperature_c: float = 25.0
    pressure_kpa: float = 99.0
    vapour_kpa: float = 0.0


REFERENCE_DAY = Day()


@dataclass(frozen=True)
class Engine:
    """Torque at wide open throttle on the reference day (25 °C, 99 kPa dry, best mixture), N·m against rev/min."""

    torque_nm: Shape
    boost_nm: Shape = _NONE  # the part of torque_nm that boost brings, and brings late
    boost_lag_s: float = 0.25
    holds_own_boost: bool = False  # makes thin air up by itself
    friction_nm: float = 22.0
    drag_nm: float = 45.0  # throttle shut
    commanded_lambda: Shape = field(default_factory=lambda: level(0.88))  # against rev/min
    lambda_error: Shape = _ONE  # true λ over commanded λ, against rev/min
    best_lambda: float = 0.88
    mixture_loss: float = 2.2  # share of torque lost per λ² away from the best; 0 for a diesel
    retard_share: Shape = _NONE  # share of torque given away against knock, against intake temperature in °C
    warm_k_per_mj: float = 0.0  # how the intake warms with the engine's own work
    atmosphere_kpa: float = 99.0
    boost_kpa: Shape = _NONE  # gauge pressure against rev/min with the boost all there

    def torque(self, n: Any, throttle: Any, boost: Any, intake_c: Any, day: Day) -> Any:
        """N·m at the flywheel; floats or arrays alike."""
        dry = 1.0 if self.holds_own_boost else (day.pressure_kpa - day.vapour_kpa) / 99.0
        charge = dry * (298.15 / (intake_c + 273.15)) ** 0.5
        away = self.mixture(n) - self.best_lambda
        charge = charge * (1.0 - self.mixture_loss * away * away) * (1.0 - self.retard_share(intake_c))
        full = self.torque_nm(n) - (1.0 - boost) * self.boost_nm(n)
        return throttle * ((full + self.friction_nm) * charge - self.friction_nm) - (1.0 - throttle) * self.drag_nm

    def mixture(self, n: Any) -> Any:
        """The λ that is really burnt."""
        return self.commanded_lambda(n) * self.lambda_error(n)


@dataclass(frozen=True)
class Car:
    """What stands between flywheel and roller."""

    engine: Engine
    turns: float = 4.0  # engine turns per roller turn, without slip
    efficiency: float = 0.88
    inertia_kg_m2: float = 3.0  # all that turns in the car, seen from the roller
    slip: Shape = _NONE  # tyre surface over roller surface, less one, against roller rad/s


@dataclass(frozen=True)
class Roller:
    """What turns with the roller, and what holds it back."""

    inertia_kg_m2: float = 58.0
    radius_m: float = 0.25
    c0_nm: float = 8.0
    c1_nm_s: float = 0.05
    c2_nm_s2: float = 4e-4
    brake_nm: Shape | None = None  # against roller rad/s

    def loss_nm(self, omega: Any) -> Any:
        """Parasitic torque of the bare roller."""
        return self.c0_nm + omega * (self.c1_nm_s + omega * self.c2_nm_s2)


@dataclass(frozen=True)
class Pull:
    """How the operator drives it: steady, full throttle, lift, coast."""

    from_rpm: float = 2000.0
    to_rpm: float = 6500.0
    steady_s: float = 1.5
    coast_s: float = 1.5
    open_s: float = 0.12
    intake_start_c: float | None = None  # as the day, unless the engine is warm
    longest_s: float = 90.0


@dataclass(frozen=True)
class Truth:
    """Everything at the times asked for; arrays of one length, units in the names."""

    time_s: Floats
    roller_speed_rad_s: Floats
    roller_acceleration_rad_s2: Floats
    roller_angle_rad: Floats
    roller_power_w: Floats
    brake_nm: Floats
    loss_nm: Floats
    engine_speed_rpm: Floats
    engine_torque_nm: Floats
    throttle: Floats
    boost: Floats
    intake_temperature_c: Floats


class Run:
    """One pull, integrated: exact truth at any time, or against engine speed."""

    def __init__(self, car: Car, roller: Roller, pull: Pull, day: Day = REFERENCE_DAY, step_s: float = 1e-3) -> None:
        self.car, self.roller, self.pull, self.day, self.step_s = car, roller, pull, day, step_s
        self._brake = roller.brake_nm or _NONE
        self._throttle = self._first_throttle()
        self._times, self._states, self._slopes = self._integrate()

    @property
    def duration_s(self) -> float:
        """From the first sample to the last."""
        return float(self._times[-1])

    @property
    def sweep_s(self) -> tuple[float, float]:
        """When the throttle was all open, and when it began to shut."""
        return self.pull.steady_s + self.pull.open_s, self._throttle.knots[3]

    def at(self, time_s: Floats) -> Truth:
        """The truth at any times within the run."""
        t = np.asarray(time_s, np.float64)
        omega, angle, boost, intake = self._between(t)
        accel, n, torque, throttle = self._motion(t, omega, boost, intake)
        brake, loss = self._brake(omega), self.roller.loss_nm(omega)
        power = omega * (self.roller.inertia_kg_m2 * accel + brake + loss)
        return Truth(t, omega, accel, angle, power, brake, loss, n, torque, throttle, boost, intake)

    def asked(self, truth: Truth) -> Floats:
        """λ that the engine's controller asks for at these moments."""
        return self.car.engine.commanded_lambda(truth.engine_speed_rpm)

    def burnt(self, truth: Truth) -> Floats:
        """λ that is really burnt at these moments; leaner where the throttle is nearly shut."""
        shut: Floats = 0.35 * np.clip(0.25 - truth.throttle, 0.0, 0.25)
        made: Floats = self.car.engine.mixture(truth.engine_speed_rpm) + shut
        return made

    def at_engine_speed(self, engine_speed_rpm: Floats) -> Truth:
        """The truth where the sweep passes these engine speeds; speeds outside the sweep are refused."""
        wanted = np.asarray(engine_speed_rpm, np.float64)
        start, end = self.sweep_s
        fine = np.linspace(start, end, int((end - start) / self.step_s) + 2)
        n = self.at(fine).engine_speed_rpm
        if wanted.min() < n[0] or wanted.max() > n[-1]:
            raise ValueError(f"the sweep runs from {n[0]:.0f} to {n[-1]:.0f} rev/min")
        t = np.interp(wanted, n, fine)
        for _ in range(2):  # straight lines between samples first, then two steps on the truth itself
            here = self.at(np.stack((t - 5e-4, t, t + 5e-4)))
            below, now, above = here.engine_speed_rpm
            t = t - (now - wanted) * 1e-3 / (above - below)
        return self.at(t)

    def _first_throttle(self) -> Shape:
        """Just enough to hold the starting speed, then all of it; where it shuts is known only on the way."""
        engine, omega = self.car.engine, self._omega_at(self.pull.from_rpm)
        need = (self.roller.loss_nm(omega) + self._brake(omega)) / (self.car.efficiency * self.car.turns)
        start = self.day.temperature_c if self.pull.intake_start_c is None else self.pull.intake_start_c
        full = engine.torque(self.pull.from_rpm, 1.0, 0.0, start, self.day)
        share = (need + engine.drag_nm) / (full + engine.drag_nm)
        return self._throttle_until(share, self.pull.longest_s)

    def _throttle_until(self, share: float, lift_s: float) -> Shape:
        opens, full = self.pull.steady_s, self.pull.steady_s + self.pull.open_s
        return lines((0.0, share), (opens, share), (full, 1.0), (lift_s, 1.0), (lift_s + 0.1, 0.0), (lift_s + 0.2, 0.0))

    def _omega_at(self, rpm: float) -> float:
        omega = rpm / RPM / self.car.turns
        for _ in range(50):
            omega = rpm / RPM / self.car.turns / (1.0 + self.car.slip(omega))
        return omega

    def _motion(self, t: Any, omega: Any, boost: Any, intake: Any) -> tuple[Any, Any, Any, Any]:
        """Acceleration, engine speed, engine torque and throttle of one state; floats or arrays alike."""
        car = self.car
        slip = car.slip(omega)
        n = car.turns * omega * (1.0 + slip) * RPM
        throttle = self._throttle(t)
        torque = car.engine.torque(n, throttle, boost, intake, self.day)
        drive = car.efficiency * car.turns * torque - self.roller.loss_nm(omega) - self._brake(omega)
        wheel_per_roller = 1.0 + slip + omega * car.slip.slope(omega)
        accel = drive / (self.roller.inertia_kg_m2 + car.inertia_kg_m2 * wheel_per_roller)
        return accel, n, torque, throttle

    def _slope(self, t: float, state: tuple[float, ...]) -> tuple[float, ...]:
        omega, _, boost, intake = state
        accel, n, torque, throttle = self._motion(t, omega, boost, intake)
        engine = self.car.engine
        spool = (max(0.0, 2.0 * throttle - 1.0) - boost) / engine.boost_lag_s
        return accel, omega, spool, engine.warm_k_per_mj * 1e-6 * max(0.0, torque) * n / RPM

    def _integrate(self) -> tuple[Floats, Floats, Floats]:
        """Classic fourth-order Runge–Kutta at one fine step; the lift begins on the step that reaches `to_rpm`."""
        h, t = self.step_s, 0.0
        start = self.day.temperature_c if self.pull.intake_start_c is None else self.pull.intake_start_c
        state: tuple[float, ...] = (self._omega_at(self.pull.from_rpm), 0.0, 0.0, float(start))
        slope = self._slope(t, state)
        times, states, slopes = [t], [state], [slope]
        end, lifted, step = self.pull.longest_s, False, 0
        while t < end:
            k2 = self._slope(t + h / 2, tuple(y + h / 2 * k for y, k in zip(state, slope, strict=True)))
            k3 = self._slope(t + h / 2, tuple(y + h / 2 * k for y, k in zip(state, k2, strict=True)))
            k4 = self._slope(t + h, tuple(y + h * k for y, k in zip(state, k3, strict=True)))
            state = tuple(
                y + h / 6 * (a + 2 * b + 2 * c + d) for y, a, b, c, d in zip(state, slope, k2, k3, k4, strict=True)
            )
            step += 1
            t = step * h
            slope = self._slope(t, state)
            times.append(t)
            states.append(state)
            slopes.append(slope)
            if not lifted and self.car.turns * state[0] * (1 + self.car.slip(state[0])) * RPM >= self.pull.to_rpm:
                lifted, end = True, t + self.pull.coast_s
                self._throttle = self._throttle_until(self._throttle(0.0), t)
        if not lifted:
            raise ValueError(f"{self.pull.to_rpm:.0f} rev/min was not reached within {self.pull.longest_s:.0f} s")
        return np.array(times), np.array(states), np.array(slopes)

    def _between(self, t: Floats) -> Floats:
        """State between steps by cubic Hermite interpolation, which keeps the integrator's order."""
        if t.size and (t.min() < 0.0 or t.max() > self.duration_s + 1e-9):
            raise ValueError(f"the run lasts from 0 to {self.duration_s:.3f} s")
        k = np.clip((t / self.step_s).astype(np.intp), 0, len(self._times) - 2)
        u = ((t - self._times[k]) / self.step_s)[..., None]
        a, b, da, db = self._states[k], self._states[k + 1], self._slopes[k], self._slopes[k + 1]
        turn = (da * (1 - u) - db * u) * self.step_s - (b - a) * (1 - 2 * u)
        between = a + (b - a) * u + u * (1 - u) * turn
        return np.moveaxis(between, -1, 0)


def roller_for_sweep_of(seconds: float, car: Car, roller: Roller, pull: Pull, day: Day = REFERENCE_DAY) -> Roller:
    """The same roller with the inertia that makes the full-throttle sweep last so long, to a thousandth."""
    for _ in range(20):
        start, end = Run(car, roller, pull, day, step_s=4e-3).sweep_s
        if abs((end - start) / seconds - 1.0) < 1e-3:
            break
        whole = (roller.inertia_kg_m2 + car.inertia_kg_m2) * seconds / (end - start)
        roller = replace(roller, inertia_kg_m2=max(whole - car.inertia_kg_m2, 1e-3))
    return roller
