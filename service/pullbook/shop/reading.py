"""Reading pulls: raw columns, channel map, calibration and air in a few statements, then the calculation."""

from collections.abc import Mapping, Sequence
from dataclasses import fields
from typing import cast

import numpy as np
from sqlalchemy.orm import Session

from pullbook.errors import FieldProblem, Invalid
from pullbook.late_methods import dataclass
from pullbook.measure.air import Air
from pullbook.measure.correction import STANDARDS, Aspiration, Engine, Ignition
from pullbook.measure.curve import Curve, Flag, RollerCalibration, SweepError, SweepSettings, read_sweep
from pullbook.measure.limits import Checked
from pullbook.runfile.channels import ChannelMapError
from pullbook.shop.channelling import own_channels
from pullbook.shop.facts import (
    CalibrationFacts,
    CellFacts,
    Floats,
    MapFacts,
    OnGrid,
    PullFacts,
    SetupFacts,
    TicketFacts,
    VehicleFacts,
    WeatherFacts,
)
from pullbook.shop.flagging import flags_of
from pullbook.shop.joining import JoinedRead, read_joined, with_joined
from pullbook.shop.limiting import limits_held
from pullbook.shop.loading import Loaded, load_pulls
from pullbook.shop.tracing import digest_of, inputs_of, provenance_of
from pullbook.shop.weather_matching import air_of

# what the calculation itself may use; asking for fewer channels never changes power
CALCULATED_FROM = frozenset(
    {
        "time_s",
        "roller_speed_rad_s",
        "roller_surface_speed_m_s",
        "roller_pulses",
        "roller_pulse_increments",
        "engine_speed_rpm",
        "brake_torque_nm",
        "brake_force_n",
        "throttle_pct",
        "vehicle_speed_m_s",
    }
)
_CONSTANTS = tuple(field.name for field in fields(RollerCalibration))


@dataclass(frozen=True, slots=True)
class ReadSettings:
    """How pulls are to be read; the same settings and the same pull give the same bits."""

    standard: str = "iso_1585"
    window_s: float | None = None  # None: chosen from the data
    step_rpm: float = 50.0
    weather_stale_minutes: int = 60
    channels: frozenset[str] | None = None  # only these besides the calculation's own; None: every mapped one
    lambda_lag_s: float | None = None  # how late measured λ is; None: found from the pull


@dataclass(frozen=True, slots=True)
class ReadPull:
    """One pull with everything it was read from, and its curve or the plain reason why there is none."""

    facts: PullFacts
    ticket: TicketFacts
    setup: SetupFacts
    cell: CellFacts
    curve: Curve | None
    weather: WeatherFacts | None
    calibration: CalibrationFacts | None
    channel_map: MapFacts | None
    failure: str | None  # why there is no curve, in words
    flags: tuple[Flag, ...]  # the curve's own and those about air, car and filing; each with code and text
    provenance: Mapping[str, object]
    digest: str  # of everything the curve is made from
    limits: tuple[Checked, ...] = ()  # the ticket's, each held against this pull
    joined: tuple[JoinedRead, ...] = ()  # other loggers' files, each laid on this pull's clock

    @property
    def observed_peak_w(self) -> float | None:
        """Peak power before the factor, where that counts the air twice and should not be read alone; in W."""
        if self.curve is None or not self.curve.factor or all(f.code != "corrected_twice" for f in self.curve.flags):
            return None
        return self.curve.headline.peak_power_w.value / self.curve.factor

    def on_grid(self, grid_rpm: Floats) -> OnGrid:
        """This curve on another grid of whole steps; NaN where it has no points, or where there is no curve at all."""
        curve = self.curve
        if curve is None:
            nothing = np.full(len(grid_rpm), np.nan)
            return OnGrid(nothing, nothing, nothing, nothing)
        power, observed, torque, spread, *others = _laid(curve, grid_rpm)
        return OnGrid(power, observed, torque, spread, dict(zip(curve.channels, others, strict=True)))


def _laid(curve: Curve, grid_rpm: Floats) -> Floats:
    """A curve's arrays, one a row, on another grid; where the grid holds its own points, its own values."""
    own = curve.engine_speed_rpm
    rows = [curve.power_w, curve.observed_power_w, curve.torque_nm, curve.spread_w, *curve.channels.values()]
    laid = np.full((len(rows), len(grid_rpm)), np.nan)
    first = int(np.searchsorted(grid_rpm, own[0])) if len(own) else 0
    there = slice(first, first + len(own))
    if np.array_equal(grid_rpm[there], own):
        laid[:, there] = rows
        return laid
    for place, values in enumerate(rows):
        laid[place] = np.interp(grid_rpm, own, values, left=np.nan, right=np.nan)
    return laid


def read_pulls(session: Session, pull_ids: Sequence[str], settings: ReadSettings) -> list[ReadPull]:
    """Read pulls in the order asked for, in a fixed number of statements however many there are.

    NotFound names the ids that do not exist; Invalid names an unknown standard and the known ones.
    """
    refuse_unknown_standard(settings.standard)
    return [read_loaded(loaded, settings) for loaded in load_pulls(session, pull_ids)]


def refuse_unknown_standard(standard: str) -> None:
    """Invalid for a standard that is not known, naming those that are."""
    if standard not in STANDARDS:
        known = ", ".join(STANDARDS)
        raise Invalid(f"There is no standard {standard!r}.", FieldProblem("standard", standard, f"one of {known}"))


def inputs_digest(loaded: Loaded, settings: ReadSettings) -> str:
    """The digest of everything that decides this pull's numbers under these settings."""
    return digest_of(inputs_of(loaded, settings.standard, settings.window_s, settings.step_rpm))


def etag_of(loaded: Loaded, settings: ReadSettings) -> str:
    """Changes with the numbers and with every word that is answered beside them, without calculating anything."""
    said = [loaded.facts, loaded.setup, loaded.ticket, loaded.cell, loaded.weather, loaded.limits]
    joined = [one.facts for one in loaded.joined]
    channels = sorted(settings.channels) if settings.channels is not None else None
    others = [settings.weather_stale_minutes, channels, settings.lambda_lag_s]
    return digest_of([inputs_digest(loaded, settings), said, joined, *others])


def read_loaded(loaded: Loaded, settings: ReadSettings) -> ReadPull:
    """Calculate one pull from what was loaded of it: no database, no clock."""
    curve, failure = None, _why_not(loaded)
    joined: tuple[JoinedRead, ...] = ()
    try:
        own, joined = _channels(loaded, settings, needed=failure is None)
        if failure is None:
            curve = _calculate(loaded, with_joined(own, joined) if joined else own, settings)
    except (SweepError, ChannelMapError) as error:
        failure = failure or str(error)
    digest, limits = inputs_digest(loaded, settings), limits_held(loaded, curve)
    return ReadPull(
        facts=loaded.facts,
        ticket=loaded.ticket,
        setup=loaded.setup,
        cell=loaded.cell,
        curve=curve,
        weather=loaded.weather,
        calibration=loaded.calibration,
        channel_map=loaded.channel_map,
        failure=failure,
        flags=flags_of(loaded, curve, settings.standard, settings.weather_stale_minutes, limits),
        provenance=provenance_of(loaded, curve, settings.standard, settings.step_rpm, digest, joined),
        digest=digest,
        limits=limits,
        joined=joined,
    )


def _why_not(loaded: Loaded) -> str | None:
    """What stands in the way of a curve before any calculation; None when nothing does."""
    facts = loaded.facts
    if facts.state != "readable" or loaded.columns is None or loaded.channel_map is None:
        return f"This pull is filed but cannot be read yet: {facts.unreadable_reason or 'its columns are not there'}"
    if facts.kind != "sweep":
        return f"This pull is a {facts.kind.replace('_', '-')}, not a sweep; only a sweep has a curve."
    if loaded.calibration is None:
        return (
            f"{loaded.cell.name} had no calibration in force on {facts.taken_at:%Y-%m-%d %H:%M} UTC. "
            "Enter one that is valid from that date or before."
        )
    return None


def _channels(
    loaded: Loaded, settings: ReadSettings, needed: bool
) -> tuple[Mapping[str, Floats], tuple[JoinedRead, ...]]:
    """The pull's own channels, and how joined files lie beside them; nothing where nothing needs them."""
    if not needed and not loaded.joined:
        return {}, ()
    if loaded.columns is None or loaded.channel_map is None or loaded.facts.state != "readable":
        return {}, read_joined(loaded, {}, settings.channels)
    own = own_channels(loaded, None if settings.channels is None else CALCULATED_FROM | settings.channels)
    return own, read_joined(loaded, own, settings.channels) if loaded.joined else ()


def _calculate(loaded: Loaded, channels: Mapping[str, Floats], settings: ReadSettings) -> Curve:
    calibration = loaded.calibration
    if calibration is None:
        raise LookupError("what stands in the way is asked first")
    return read_sweep(
        channels,
        roller_calibration(calibration),
        air_at(loaded),
        engine_of(loaded.ticket.vehicle),
        SweepSettings(
            standard=settings.standard,
            window_s=settings.window_s,
            step_rpm=settings.step_rpm,
            engine_turns_per_roller_turn=stated_ratio(loaded),
            lambda_lag_s=settings.lambda_lag_s,
        ),
    )


def stated_ratio(loaded: Loaded) -> float | None:
    """Engine turns per roller turn as the setup states it, or the car; None where neither does."""
    return loaded.setup.engine_turns_per_roller_turn or loaded.ticket.vehicle.engine_turns_per_roller_turn


def air_at(loaded: Loaded) -> Air | None:
    """The air that a pull was taken in; None without a reading of it."""
    weather = loaded.weather
    if weather is None:
        return None
    return air_of(
        weather.air_temperature_c, weather.station_pressure_kpa, weather.humidity_kind, weather.humidity_value
    )


def roller_calibration(facts: CalibrationFacts) -> RollerCalibration:
    """The constants in force, as measuring takes them."""
    return RollerCalibration(**{name: getattr(facts, name) for name in _CONSTANTS})


def engine_of(vehicle: VehicleFacts) -> Engine:
    """The engine, as far as correcting asks after it."""
    # the table's own CHECKs hold both words to those that are known
    ignition, aspiration = cast("Ignition", vehicle.ignition), cast("Aspiration", vehicle.aspiration)
    return Engine(ignition, aspiration, vehicle.fuel_per_litre_cycle_mg, vehicle.holds_own_boost)
