"""What reading holds takes and gives: settings, plateaus, means. Frozen, no reckoning."""

from collections.abc import Mapping
from dataclasses import field

from pullbook.late_methods import dataclass
from pullbook.measure import METHOD_VERSION
from pullbook.measure.curveparts import Flag

SETTLED_WORDS = (
    "Steady: over two seconds roller speed changes by no more than 0.5 % a second, and over one second throttle by no "
    "more than 2 points a second; for 2 s at least. Settled: from where the rest has the least standard error of its "
    "mean (White 1997), "
    "half of the plateau at most cut away."
)


@dataclass(frozen=True)
class HoldSettings:
    """How to read it. `lag_s`: by how much measured λ is late; `engine_turns_per_roller_turn`: where engine speed is
    missing."""

    standard: str = "iso_1585"
    lag_s: float = 0.0
    engine_turns_per_roller_turn: float | None = None


@dataclass(frozen=True)
class Mean:
    """A mean over the settled part: `u` its standard uncertainty from scatter alone (k = 1), `spread` the standard
    deviation around a straight line, `drift_per_s` the slope of that line and `drift_u_per_s` its standard uncertainty.
    All in the quantity's own unit."""

    value: float
    u: float
    spread: float
    drift_per_s: float
    drift_u_per_s: float


@dataclass(frozen=True)
class HeldAt:
    """One plateau. Powers in W, torques in N·m at the roller, times in s of the file.

    expanded_uncertainty_w: of `power_w`, twice the standard uncertainty: budget and scatter together; `parts_pct` are
    its parts (k = 1, % of power). inertial_w: the share of J·α in the observed power. is_settled: speed moved by no
    more than 0.5 % and power by no more than 1 % over the settled part, or by less than twice its own uncertainty.
    `channels`: means by name; measured λ apart, read later by the lag, NaN-free or None.
    """

    start_s: float
    settled_s: float
    end_s: float
    roller_speed_rad_s: Mean
    engine_speed_rpm: Mean | None
    observed_power: Mean
    power_w: float
    expanded_uncertainty_w: float
    parts_pct: Mapping[str, float]
    inertial_w: float
    brake_w: float
    loss_w: float
    torque_nm: float | None  # corrected, referred to the engine
    throttle: Mean | None
    lambda_measured: Mean | None
    lambda_commanded: float | None
    is_settled: bool
    independent: float
    channels: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Holds:
    """Every plateau of a recording, in time, under one standard."""

    plateaus: tuple[HeldAt, ...]
    standard: str
    factor: float | None
    factor_valid: bool
    factor_note: str
    lag_s: float
    flags: tuple[Flag, ...]
    counts: Mapping[str, int]
    method_version: str = METHOD_VERSION
