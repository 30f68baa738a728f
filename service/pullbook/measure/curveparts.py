"""What reading a sweep takes and gives: calibration, settings, flags, figures, the curve. Frozen, no reckoning."""

from collections.abc import Mapping, Sequence
from dataclasses import field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pullbook.late_methods import dataclass
from pullbook.measure import METHOD_VERSION
from pullbook.measure.air import Air

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Indices = NDArray[np.intp]


class SweepError(ValueError):
    """The samples cannot be read as a sweep; the message says why and what would do."""


@dataclass(frozen=True)
class RollerCalibration:
    """The cell's constants in force. Each `…_u…` is a standard uncertainty (k = 1) in the unit of its constant."""

    inertia_kg_m2: float
    roller_radius_m: float
    inertia_u_kg_m2: float = 0.0
    roller_radius_u_m: float = 0.0
    pulses_per_turn: float | None = None
    loss_c0_nm: float = 0.0
    loss_c1_nm_s: float = 0.0
    loss_c2_nm_s2: float = 0.0
    loss_u_nm: float = 0.0
    brake_arm_m: float | None = None
    brake_arm_u_m: float | None = None
    brake_scale: float = 1.0
    brake_scale_u: float = 0.0
    brake_zero_nm: float = 0.0

    def loss_nm(self, omega_rad_s: Array) -> Array:
        """Parasitic torque of the bare rollers at these speeds, N·m."""
        return self.loss_c0_nm + omega_rad_s * (self.loss_c1_nm_s + omega_rad_s * self.loss_c2_nm_s2)


@dataclass(frozen=True)
class SweepSettings:
    """How to read it. `window_s` None: chosen from the data. `engine_turns_per_roller_turn`: used where engine speed is
    missing. `band_rpm`: over which mean power is taken; None: the middle 80 % of the curve. `lambda_lag_s`: how late
    measured λ is; None: found from the pull."""

    standard: str = "iso_1585"
    window_s: float | None = None
    step_rpm: float = 50.0
    engine_turns_per_roller_turn: float | None = None
    band_rpm: tuple[float, float] | None = None
    lambda_lag_s: float | None = None


@dataclass(frozen=True)
class Flag:
    """Something the reader should know: `code` for programs, `text` for people (what, where, what to do)."""

    code: str
    text: str


@dataclass(frozen=True)
class Figure:
    """A headline figure; `expanded_uncertainty` is k = 2 (more with few degrees of freedom), in the figure's unit."""

    value: float
    at_engine_speed_rpm: float
    expanded_uncertainty: float


@dataclass(frozen=True)
class Headline:
    """The figures people quote. `area_w_rpm` lies under the corrected power over `band_rpm`."""

    peak_power_w: Figure
    peak_torque_nm: Figure
    mean_power_w: Figure
    band_rpm: tuple[float, float]
    area_w_rpm: float


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


@dataclass(frozen=True)
class Basis:
    """What a figure's uncertainty is reckoned from: constants, factor and its parts, and the roller at that figure.

    `factor_parts`: how far the factor moves, as a share of it, when one reading of the air moves by its standard
    uncertainty; empty where nothing was corrected. `noise_dof`: with how many degrees of freedom noise is known.
    """

    calibration: RollerCalibration
    from_surface_speed: bool
    brake_by_force: bool
    factor: float
    factor_parts: Mapping[str, float]
    noise_dof: float
    peak_power: Moment
    mean_power: Moment  # means over the band, weighted as power is


@dataclass(frozen=True)
class ProbeLag:
    """The lag that is taken out, and what it rests on.

    lag_s, u_s: effective delay and its standard uncertainty (k = 1), s.
    found: whether it was found in this pull; else it is the usual figure, or one that was given.
    quality: good (u up to 20 ms), fair (up to 50 ms), weak; `usual` or `given` where it was not found.
    reason: why it was not found and what would do; None where it was.
    delay_s, time_constant_s: its two parts as fitted, less sure than their sum; None where not found.
    residual_lambda: rms of what the fit leaves, λ.
    """

    lag_s: float
    u_s: float
    found: bool
    quality: str
    reason: str | None
    delay_s: float | None = None
    time_constant_s: float | None = None
    residual_lambda: float | None = None


@dataclass(frozen=True)
class InPlace:
    """Commanded λ around the moment that each grid point's gas was burnt; arrays of (grid,), λ, NaN where unknown.

    `burnt_s`: that moment, s of the file. `least`, `most`: of the command within the doubt about the lag; None where
    there is no command.
    """

    lag: ProbeLag
    burnt_s: Array
    least: Array | None
    most: Array | None


@dataclass(frozen=True)
class Curve:
    """A sweep as read. Arrays are one-dimensional, one value for each grid point; NaN in a channel where it had none.

    `window_s` is the full width of the local fit. Chosen from the data (`window_chosen`), the fit is as wide as each
    part of the sweep lets it be: then it is the middle of `window_range_s`, as the straight-line fit that scatters
    as much. `corners_rpm` are the engine speeds where torque was found to bend sharply. `uncertainty_pct` are the parts
    (k = 1, % of peak power) that the expanded uncertainty is made of; `basis` is what a whole budget starts from.
    """

    engine_speed_rpm: Array
    observed_power_w: Array
    power_w: Array
    torque_nm: Array
    spread_w: Array
    channels: dict[str, Array]
    headline: Headline
    standard: str
    factor: float | None
    factor_valid: bool
    factor_note: str
    air: Air | None
    window_s: float
    window_chosen: bool
    step_rpm: float
    axis: Literal["engine_speed", "roller_speed"]
    ratio: float | None
    ratio_drift: float | None
    sweep_s: tuple[float, float]
    flags: tuple[Flag, ...] = ()
    counts: dict[str, int] = field(default_factory=dict)
    window_range_s: tuple[float, float] = (0.0, 0.0)
    corners_rpm: tuple[float, ...] = ()
    uncertainty_pct: dict[str, float] = field(default_factory=dict)
    basis: Basis | None = None
    in_place: InPlace | None = None  # how late measured λ was, and what was taken out of `channels`; None without it
    method_version: str = METHOD_VERSION

    def on_grid(self, grid_rpm: Sequence[float] | Array, name: str = "power_w") -> Array:
        """One of the arrays above, or a channel, on another grid of engine speed: NaN where this curve does not reach.

        On a grid of the same whole steps the values are the curve's own; between its points they are interpolated.
        A channel that the pull lacks is all NaN. ValueError for a name that is neither.
        """
        arrays = {key: getattr(self, key) for key in ("observed_power_w", "power_w", "torque_nm", "spread_w")}
        wanted = np.asarray(grid_rpm, dtype=np.float64)
        if name not in arrays and name not in self.channels:
            return np.full(wanted.shape, np.nan)
        values = arrays[name] if name in arrays else self.channels[name]
        return np.interp(wanted, self.engine_speed_rpm, values, left=np.nan, right=np.nan)

    def mean_power_w(self, band_rpm: tuple[float, float]) -> float:
        """Mean corrected power over a band of engine speed, W; NaN where the curve does not cover it."""
        low, high = band_rpm
        if not (self.engine_speed_rpm[0] <= low < high <= self.engine_speed_rpm[-1]):
            return float("nan")
        return area_under(self.engine_speed_rpm, self.power_w, band_rpm) / (high - low)


def area_under(x: Array, y: Array, band: tuple[float, float]) -> float:
    """Trapezoids under y between two values of x, the ends interpolated."""
    low, high = band
    first, last = np.searchsorted(x, low, side="right"), np.searchsorted(x, high)
    xs, ys = np.empty((2, last - first + 2))
    xs[0], xs[1:-1], xs[-1] = low, x[first:last], high
    ys[1:-1] = y[first:last]
    ys[[0, -1]] = np.interp(band, x, y)
    return float((ys[1:] + ys[:-1]) @ (xs[1:] - xs[:-1]) * 0.5)
