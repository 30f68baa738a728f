"""Coast-downs made from a known loss by scipy's integration, as loggers of several kinds write them down."""

from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp

from pullbook.measure.curveparts import Array, RollerCalibration

PULSES = 60
KINDS = (
    "white noise",
    "filtered noise",
    "rounded to 1 rev/min",
    "pulses counted",
    "pulses each sample",
    "speed of pulses",
)
TURN = 2.0 * np.pi


@dataclass(frozen=True)
class Rollers:
    """What turns and what holds it back: kg·m², N·m, N·m·s, N·m·s²."""

    inertia_kg_m2: float = 4.2
    losses: tuple[float, float, float] = (1.8, 0.012, 2.1e-4)

    @property
    def per_inertia(self) -> Array:
        return np.array(self.losses) / self.inertia_kg_m2

    @property
    def calibration(self) -> RollerCalibration:
        c0, c1, c2 = self.losses
        return RollerCalibration(
            self.inertia_kg_m2, 0.318, 0.02, 0.0003, pulses_per_turn=PULSES,
            loss_c0_nm=c0, loss_c1_nm_s=c1, loss_c2_nm_s2=c2, loss_u_nm=0.1,
        )  # fmt: skip


LIGHT = Rollers()
HEAVY = Rollers(58.0, (9.6, 0.055, 4e-4))


def motion(rollers, start_rad_s, end_rad_s, rate_hz, torque_nm=0.0, inertia_kg_m2=0.0):
    """Time, speed and angle of rollers slowing (or, with a torque below nought, speeding) from one speed to another."""
    c0, c1, c2 = rollers.losses
    whole = rollers.inertia_kg_m2 + inertia_kg_m2

    def slope(_t, state):
        return [-(c0 + torque_nm + state[0] * (c1 + state[0] * c2)) / whole, state[0]]

    def ended(_t, state):
        return state[0] - end_rad_s

    ended.terminal = True
    solved = solve_ivp(
        slope, (0.0, 5000.0), [start_rad_s, 0.0], events=ended, rtol=1e-10, atol=1e-10, dense_output=True
    )
    time = np.arange(0.0, solved.t[-1], 1.0 / rate_hz)
    speed, angle = solved.sol(time)
    return time, speed, angle


def written(kind, time, speed, angle, chance, rate_hz):
    """The channels that a logger of this kind leaves behind."""
    angle = angle + chance.uniform(0.0, TURN)
    pulses = np.floor(angle / TURN * PULSES)
    steps = np.diff(pulses, prepend=np.floor((angle[0] - speed[0] / rate_hz) / TURN * PULSES))
    if kind == "white noise":
        return {"time_s": time, "roller_speed_rad_s": speed + 0.05 * chance.standard_normal(len(time))}
    if kind == "filtered noise":
        return {"time_s": time, "roller_speed_rad_s": speed + _filtered(0.02 * chance.standard_normal(len(time)))}
    if kind == "rounded to 1 rev/min":
        return {"time_s": time, "roller_speed_rad_s": np.round(speed * 60.0 / TURN) * TURN / 60.0}
    if kind == "pulses counted":
        return {"time_s": time, "roller_pulses": pulses}
    if kind == "pulses each sample":
        return {"time_s": time, "roller_pulse_increments": steps}
    return {"time_s": time, "roller_speed_rad_s": steps / PULSES * TURN * rate_hz}


def _filtered(noise):
    made, now = np.empty_like(noise), 0.0
    for place, value in enumerate(noise.tolist()):
        now = 0.95 * now + value
        made[place] = now
    return made
