"""The uncertainty budget of a figure, input by input, as JCGM 100:2008 (GUM) 8 has it written down.

Made only where somebody asks for it, from what a curve carries along (`Basis`). It says the same as the curve's own
expanded uncertainty, taken apart.
"""

from collections.abc import Mapping
from math import inf
from typing import Literal, NamedTuple

from pullbook.late_methods import dataclass
from pullbook.measure.air import saturation_pressure_kpa
from pullbook.measure.curveparts import Basis, Curve, Moment
from pullbook.measure.propagation import combined, coverage_factor, effective_dof
from pullbook.measure.uncertainty import (
    BRAKE_ZERO_U_NM,
    HUMIDITY_U_PCT,
    METHOD_U,
    PRESSURE_U_KPA,
    SPEED_U,
    TEMPERATURE_U_C,
    power_parts,
)
from pullbook.measure.uncommon import FROM_READING, OWN

Figure = Literal["peak_power", "mean_power"]
Shared = Literal["calibration", "weather_reading", "none"]


class BudgetRow(NamedTuple):
    """One input: its estimate and standard uncertainty (both in `unit`), and what that does to the figure.

    `evaluation`: A from the scatter of the samples, B from anything else. `sensitivity` in W for each `unit`, signed;
    `contribution_w` (k = 1) without sign; `share_pct` of the variance. `shared_by`: with which other pulls the error is
    shared, so that it cancels in a difference from them.
    """

    name: str
    estimate: float
    standard_uncertainty: float
    unit: str
    evaluation: Literal["A", "B"]
    distribution: Literal["normal", "rectangular"]
    degrees_of_freedom: float
    sensitivity: float
    contribution_w: float
    share_pct: float
    shared_by: Shared


@dataclass(frozen=True)
class Budget:
    """Every row, largest share first, and what they come to; infinite `degrees_of_freedom`: nothing limits them."""

    figure: Figure
    value_w: float
    rows: tuple[BudgetRow, ...]
    combined_w: float
    degrees_of_freedom: float
    coverage_factor: float
    expanded_w: float

    @property
    def expanded_pct(self) -> float:
        """Expanded uncertainty in % of the figure; 0 where the figure is 0."""
        return 100.0 * self.expanded_w / abs(self.value_w) if self.value_w else 0.0

    @property
    def cancelling_pct(self) -> float:
        """How much of the variance another pull with the same calibration and the same weather reading shares, in %."""
        return sum(row.share_pct for row in self.rows if row.shared_by != "none")


class _Input(NamedTuple):
    """What a row says of its input before the figure comes in."""

    estimate: float
    u: float
    unit: str
    distribution: Literal["normal", "rectangular"] = "normal"


def budget_of(curve: Curve, figure: Figure = "peak_power") -> Budget | None:
    """The budget of peak power, or of mean power over the curve's band. None for a curve that carries no basis."""
    basis = curve.basis
    if basis is None:
        return None
    headline = curve.headline
    value = (headline.peak_power_w if figure == "peak_power" else headline.mean_power_w).value
    at = basis.peak_power if figure == "peak_power" else basis.mean_power
    shares = {
        **power_parts(at, basis.calibration, basis.from_surface_speed, basis.brake_by_force),
        **basis.factor_parts,
    }
    inputs = {**_roller_inputs(at, basis), **_air_inputs(curve)}
    variance = sum(share * share for share in shares.values())
    rows = [_row(name, shares.get(name, 0.0), inputs[name], value, variance, basis.noise_dof) for name in inputs]
    rows.sort(key=lambda row: -row.share_pct)
    contributions = [row.contribution_w for row in rows]
    u = combined(contributions)
    dof = effective_dof(contributions, [row.degrees_of_freedom for row in rows])
    k = coverage_factor(dof)
    return Budget(figure, value, tuple(rows), u, dof, k, k * u)


def _row(name: str, share: float, put: _Input, value_w: float, variance: float, noise_dof: float) -> BudgetRow:
    moved = share * value_w
    return BudgetRow(
        name=name,
        estimate=put.estimate,
        standard_uncertainty=put.u,
        unit=put.unit,
        evaluation="A" if name == "noise" else "B",
        distribution=put.distribution,
        degrees_of_freedom=noise_dof if name == "noise" else inf,
        sensitivity=moved / put.u if put.u else 0.0,
        contribution_w=abs(moved),
        share_pct=100.0 * share * share / variance if variance else 0.0,
        shared_by="none" if name in OWN else "weather_reading" if name in FROM_READING else "calibration",
    )


def _roller_inputs(at: Moment, basis: Basis) -> Mapping[str, _Input]:
    """Everything the cell brings. The radius stands there even where power does not depend on it, so that one sees."""
    of = basis.calibration
    inputs = {
        "inertia": _Input(of.inertia_kg_m2, of.inertia_u_kg_m2, "kg·m²"),
        "radius": _Input(of.roller_radius_m, of.roller_radius_u_m, "m"),
        "speed": _Input(at.omega_rad_s, at.omega_rad_s * SPEED_U, "rad/s", "rectangular"),
        "losses": _Input(at.loss_nm, of.loss_u_nm, "N·m"),
        "method": _Input(1.0, METHOD_U, "1", "rectangular"),
        "noise": _Input(at.total_nm, at.noise_nm, "N·m"),
    }
    if at.brake_nm:
        inputs["brake scale"] = _Input(of.brake_scale, of.brake_scale_u, "1")
        inputs["brake zero"] = _Input(of.brake_zero_nm, BRAKE_ZERO_U_NM, "N·m", "rectangular")
        if basis.brake_by_force and of.brake_arm_m:
            inputs["brake arm"] = _Input(of.brake_arm_m, of.brake_arm_u_m or 0.0, "m")
    return inputs


def _air_inputs(curve: Curve) -> Mapping[str, _Input]:
    """The readings of the air, where the figure was corrected for it."""
    air = curve.air
    if air is None or curve.basis is None or not curve.basis.factor_parts:
        return {}
    moist = 100.0 * air.vapour_pressure_kpa / saturation_pressure_kpa(air.temperature_c)
    return {
        "air temperature": _Input(air.temperature_c, TEMPERATURE_U_C, "°C", "rectangular"),
        "air pressure": _Input(air.pressure_kpa, PRESSURE_U_KPA, "kPa", "rectangular"),
        "humidity": _Input(moist, HUMIDITY_U_PCT, "% RH", "rectangular"),
    }
