"""What a headline figure may be off by: a budget after JCGM 100:2008 (GUM), standard uncertainties added in squares.

Each part is how far the figure moves when one input moves up by its standard uncertainty, the inputs taken as
independent; a part below zero moves the figure down. The calibration brings its own; the air's and the load cell's zero
are those of ordinary instruments, used until the shop states better. `budget` shows the parts one by one.
"""

from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from math import inf
from types import MappingProxyType

from pullbook.measure.air import Air, AirError, saturation_pressure_kpa
from pullbook.measure.correction import Engine, factor
from pullbook.measure.curveparts import Moment, RollerCalibration
from pullbook.measure.propagation import combined, coverage_factor, effective_dof

TEMPERATURE_U_C = 0.5
PRESSURE_U_KPA = 0.1
HUMIDITY_U_PCT = 3.0
SPEED_U = 2e-4  # of speed: counted edges and a quartz clock; gauge lines on a roller do no better
METHOD_U = 1e-3  # of power: what the choice of a fit leaves against forward models, noise of its own apart
BRAKE_ZERO_U_NM = 0.3  # a load cell zeroed the same day: some 0.01 % of its range; common practice


def power_parts(
    at: Moment, calibration: RollerCalibration, from_surface_speed: bool, brake_by_force: bool
) -> dict[str, float]:
    """Standard uncertainty of observed power from each input, as a signed share of that power."""
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
        parts["radius"] = -(total + inertial) / total * calibration.roller_radius_u_m / calibration.roller_radius_m
    if at.brake_nm:
        parts["brake scale"] = at.brake_nm / total * calibration.brake_scale_u / calibration.brake_scale
        parts["brake zero"] = -BRAKE_ZERO_U_NM / total
        if brake_by_force and calibration.brake_arm_m and calibration.brake_arm_u_m:
            parts["brake arm"] = at.brake_nm / total * calibration.brake_arm_u_m / calibration.brake_arm_m
    return {name: share for name, share in parts.items() if share}


@lru_cache(maxsize=64)
def factor_parts(standard: str, air: Air, engine: Engine) -> Mapping[str, float]:
    """Standard uncertainty of the correction factor from each reading of the air, as a signed share of the factor.

    Kept: the pulls of one ticket share a few readings of the air.
    """
    here = factor(standard, air, engine).value
    vapour = air.vapour_pressure_kpa
    moist = 0.01 * HUMIDITY_U_PCT * saturation_pressure_kpa(air.temperature_c)
    drier = vapour > moist
    moved = {
        "air temperature": (1.0, {"temperature_c": air.temperature_c + TEMPERATURE_U_C}),
        "air pressure": (-1.0, {"pressure_kpa": air.pressure_kpa - PRESSURE_U_KPA}),
        "humidity": (-1.0, {"vapour_pressure_kpa": vapour - moist})
        if drier
        else (1.0, {"vapour_pressure_kpa": vapour + moist}),
    }
    parts = {}
    for name, (turned, change) in moved.items():
        try:
            there = factor(standard, replace(air, **change), engine).value
        except AirError:  # at the very edge of what air can be: the step would leave it
            continue
        if there != here:
            parts[name] = turned * (there / here - 1.0)
    return MappingProxyType(parts)


def expanded(value: float, noise_dof: float, *shares: Mapping[str, float]) -> float:
    """Expanded uncertainty, for about 95 %, of a value from shares of it; noise is known with so many degrees of
    freedom, everything else as well as can be. In the value's own unit."""
    parts = {name: share for part in shares for name, share in part.items()}
    sizes = list(parts.values())
    u = combined(sizes)
    if u == 0.0:
        return 0.0
    dofs = [noise_dof if name == "noise" else inf for name in parts]
    return coverage_factor(effective_dof(sizes, dofs)) * abs(value) * u
