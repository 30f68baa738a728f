"""What a headline figure may be off by: a budget after JCGM 100:2008 (GUM), standard uncertainties added in squares.

Each part is how far the figure moves when one input moves by its standard uncertainty, the inputs taken as independent.
The calibration brings its own; the air's are those of ordinary instruments, used until the shop states better.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from types import MappingProxyType

from pullbook.measure.air import Air, AirError, saturation_pressure_kpa
from pullbook.measure.correction import Engine, factor
from pullbook.measure.curveparts import RollerCalibration

COVERAGE = 2.0  # k: about 95 %
TEMPERATURE_U_C = 0.5
PRESSURE_U_KPA = 0.1
HUMIDITY_U_PCT = 3.0
SPEED_U = 2e-4  # of speed: counted edges and a quartz clock; gauge lines on a roller do no better
METHOD_U = 1e-3  # of power: what the choice of a fit leaves against forward models, noise of its own apart


@dataclass(frozen=True)
class Moment:
    """The roller at one point of the curve: speed, what the brake and the losses take, what noise leaves (all N·m)."""

    omega_rad_s: float
    drive_nm: float
    brake_nm: float
    loss_nm: float
    noise_nm: float

    @property
    def total_nm(self) -> float:
        return self.drive_nm + self.loss_nm


def power_parts(
    at: Moment, calibration: RollerCalibration, from_surface_speed: bool, brake_by_force: bool
) -> dict[str, float]:
    """Standard uncertainty of observed power from each input, as a share of that power."""
    total = at.total_nm
    if total == 0.0:
        return {}
    inertial = at.drive_nm - at.brake_nm
    parts = {
        "inertia": inertial / total * calibration.inertia_u_kg_m2 / calibration.inertia_kg_m2,
        "losses": calibration.loss_u_nm / total,
        "noise": at.noise_nm / total,
        "speed": (total + inertial) / total * SPEED_U,
        "method": METHOD_U,
    }
    if from_surface_speed:  # speed and acceleration both go with one over the radius
        parts["radius"] = (total + inertial) / total * calibration.roller_radius_u_m / calibration.roller_radius_m
    if at.brake_nm:
        parts["brake scale"] = at.brake_nm / total * calibration.brake_scale_u / calibration.brake_scale
        if brake_by_force and calibration.brake_arm_m and calibration.brake_arm_u_m:
            parts["brake arm"] = at.brake_nm / total * calibration.brake_arm_u_m / calibration.brake_arm_m
    return {name: abs(share) for name, share in parts.items() if share}


@lru_cache(maxsize=64)
def factor_parts(standard: str, air: Air, engine: Engine) -> Mapping[str, float]:
    """Standard uncertainty of the correction factor from each reading of the air, as a share of the factor.

    Kept: the pulls of one ticket share a few readings of the air.
    """
    here = factor(standard, air, engine).value
    vapour = air.vapour_pressure_kpa
    moist = 0.01 * HUMIDITY_U_PCT * saturation_pressure_kpa(air.temperature_c)
    moved = {
        "air temperature": {"temperature_c": air.temperature_c + TEMPERATURE_U_C},
        "air pressure": {"pressure_kpa": air.pressure_kpa - PRESSURE_U_KPA},
        "humidity": {"vapour_pressure_kpa": vapour - moist if vapour > moist else vapour + moist},
    }
    parts = {}
    for name, change in moved.items():
        try:
            there = factor(standard, replace(air, **change), engine).value
        except AirError:  # at the very edge of what air can be: the step would leave it
            continue
        if there != here:
            parts[name] = abs(there / here - 1.0)
    return MappingProxyType(parts)


def expanded(value: float, *shares: Mapping[str, float]) -> float:
    """Expanded uncertainty (k = 2) of a value from shares of it."""
    squares = sum(share * share for part in shares for share in part.values())
    return COVERAGE * abs(value) * float(squares**0.5)
