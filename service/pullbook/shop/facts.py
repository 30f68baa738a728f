"""What reading, comparing and publishing hand over: plain frozen records with no session behind them."""

from collections.abc import Mapping
from dataclasses import field
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from pullbook.late_methods import dataclass

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class PullFacts:
    """One pull as it was filed, with the names that people know its parts by."""

    id: str
    ticket_id: str
    ticket_number: int
    setup_id: str
    setup_name: str
    setup_position: int
    cell_id: str
    cell_name: str
    sha256: str
    size_bytes: int
    kind: str  # sweep, hold, coast_down, part_throttle
    taken_at: datetime
    received_at: datetime
    file_name: str
    operator_id: str
    operator_name: str
    channel_map_id: str | None
    state: str  # readable, unreadable
    unreadable_reason: str | None
    set_aside_reason: str | None
    set_aside_at: datetime | None
    notes: str
    version: int
    safety_signed: bool = True  # somebody signed for its ticket and cell before it, on that day of the shop's calendar


@dataclass(frozen=True, slots=True)
class WeatherFacts:
    """The weather reading that a pull was read with."""

    id: str
    read_at: datetime
    air_temperature_c: float
    station_pressure_kpa: float
    humidity_kind: str  # relative_pct, dew_point_c, wet_bulb_c
    humidity_value: float
    altimeter_setting_kpa: float | None
    source: str
    doubt: str | None
    age_minutes: float  # how far from the pull, before or after; never negative


@dataclass(frozen=True, slots=True)
class CalibrationFacts:
    """The calibration in force when a pull was taken. Each `…_u` is a standard uncertainty (k = 1)."""

    id: str
    valid_from: datetime
    inertia_kg_m2: float
    inertia_u_kg_m2: float
    roller_radius_m: float
    roller_radius_u_m: float
    pulses_per_turn: float | None
    loss_c0_nm: float
    loss_c1_nm_s: float
    loss_c2_nm_s2: float
    loss_u_nm: float
    brake_arm_m: float | None
    brake_arm_u_m: float | None
    brake_scale: float
    brake_scale_u: float
    brake_zero_nm: float


@dataclass(frozen=True, slots=True)
class MapFacts:
    """Which column of the file was taken for what."""

    id: str
    name: str
    recognised: bool  # by its headers alone; False: somebody made and saved this map
    columns: tuple[Mapping[str, str], ...]  # each {"header", "quantity", "unit"}


@dataclass(frozen=True, slots=True)
class JoinedFacts:
    """Another logger's file of the same run, as it was joined to a pull."""

    id: str
    pull_id: str
    sha256: str
    file_name: str
    received_at: datetime
    state: str  # readable, unreadable
    unreadable_reason: str | None
    offset_s: float | None  # set by hand, to be added to its own time; None: found by matching
    left_out_reason: str | None
    version: int


@dataclass(frozen=True, slots=True)
class VehicleFacts:
    """The car, as far as reading a pull and showing it need it."""

    id: str
    make: str
    model: str
    model_year: int | None
    plate: str
    engine: str
    displacement_l: float | None
    ignition: str
    aspiration: str
    holds_own_boost: bool
    fuel: str
    engine_turns_per_roller_turn: float | None
    fuel_per_litre_cycle_mg: float | None

    @property
    def title(self) -> str:
        """Year, make and model in one line."""
        return " ".join(str(part) for part in (self.model_year, self.make, self.model) if part)


@dataclass(frozen=True, slots=True)
class SetupFacts:
    """One state of the car within a ticket."""

    id: str
    ticket_id: str
    position: int  # 0 is the baseline
    name: str
    changed: str
    gear: str
    engine_turns_per_roller_turn: float | None
    tyre_pressure_kpa: float | None
    fuel: str


@dataclass(frozen=True, slots=True)
class CellFacts:
    """The installation a pull was taken on."""

    id: str
    name: str
    drive: str
    has_brake: bool
    altitude_m: float


@dataclass(frozen=True, slots=True)
class TicketFacts:
    """The job a pull belongs to."""

    id: str
    number: int
    asked: str
    state: str
    customer_id: str
    customer_name: str
    vehicle: VehicleFacts


@dataclass(frozen=True, slots=True)
class OnGrid:
    """A curve on somebody else's grid of engine speed; NaN where it has no points. All arrays one length."""

    power_w: Floats
    observed_power_w: Floats
    torque_nm: Floats
    spread_w: Floats
    channels: Mapping[str, Floats] = field(default_factory=dict)
