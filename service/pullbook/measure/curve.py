"""From the samples of a sweep to its curve: the one entry, and what comes out of it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pullbook.measure import METHOD_VERSION
from pullbook.measure.air import Air
from pullbook.measure.correction import Engine

Array = NDArray[np.float64]


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


@dataclass(frozen=True)
class SweepSettings:
    """How to read it. `window_s` None: chosen from the data. `engine_turns_per_roller_turn`: used where engine speed is
    missing. `band_rpm`: over which mean power is taken; None: the middle 80 % of the grid."""

    standard: str = "iso_1585"
    window_s: float | None = None
    step_rpm: float = 50.0
    engine_turns_per_roller_turn: float | None = None
    band_rpm: tuple[float, float] | None = None


@dataclass(frozen=True)
class Flag:
    """Something the reader should know: `code` for programs, `text` for people (what, where, what to do)."""

    code: str
    text: str


@dataclass(frozen=True)
class Figure:
    """A headline figure; `expanded_uncertainty` is k = 2, in the figure's own unit."""

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
class Curve:
    """A sweep as read. Arrays are one-dimensional, one value for each grid point; NaN in a channel where it had none."""

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
    method_version: str = METHOD_VERSION

    def on_grid(self, grid_rpm: Sequence[float] | Array, name: str = "power_w") -> Array:
        """One of the arrays above, or a channel, on another grid of whole steps: NaN where this curve has no point."""
        raise NotImplementedError


def read_sweep(
    channels: Mapping[str, Array],
    calibration: RollerCalibration,
    air: Air | None,
    engine: Engine,
    settings: SweepSettings,
) -> Curve:
    """Read one sweep. SweepError where the samples are no sweep."""
    raise NotImplementedError
