"""The words of the measurement: every channel and derived quantity, with its unit, its shape and where it is from."""

from collections.abc import Mapping
from types import MappingProxyType

from pullbook.late_methods import dataclass


@dataclass(frozen=True)
class Channel:
    """One channel of a pull. `inside_unit` is the identifier of the unit its numbers are kept in."""

    identifier: str
    title: str
    inside_unit: str
    dimension: str


@dataclass(frozen=True)
class Term:
    """One quantity: its name here, symbol, unit, shape and source."""

    name: str
    symbol: str
    unit: str
    shape: str
    source: str


_CHANNEL_ROWS = (
    ("time_s", "time", "s", "time"),
    ("roller_speed_rad_s", "roller speed", "rad_s", "angular_speed"),
    ("roller_surface_speed_m_s", "roller surface speed", "m_s", "speed"),
    ("roller_pulses", "roller pulses, running count", "count", "count"),
    ("roller_pulse_increments", "roller pulses in each sample", "count", "count"),
    ("engine_speed_rpm", "engine speed", "rev_min", "angular_speed"),
    ("brake_torque_nm", "brake torque at the roller", "nm", "torque"),
    ("brake_force_n", "load-cell force", "n", "force"),
    ("throttle_pct", "throttle", "pct", "ratio"),
    ("lambda_measured", "λ measured", "lambda", "mixture"),
    ("lambda_commanded", "λ commanded", "lambda", "mixture"),
    ("manifold_pressure_kpa", "manifold pressure, absolute", "kpa", "pressure"),
    ("manifold_gauge_kpa", "manifold pressure, gauge", "kpa", "pressure"),
    ("intake_temperature_c", "intake air temperature", "c", "temperature"),
    ("coolant_temperature_c", "coolant temperature", "c", "temperature"),
    ("oil_temperature_c", "oil temperature", "c", "temperature"),
    ("exhaust_temperature_c", "exhaust gas temperature", "c", "temperature"),
    ("ignition_advance_deg", "ignition advance", "deg", "angle"),
    ("knock_retard_deg", "knock retard", "deg", "angle"),
    ("fuel_pressure_kpa", "fuel pressure", "kpa", "pressure"),
    ("vehicle_speed_m_s", "vehicle speed", "m_s", "speed"),
    ("boost_target_kpa", "boost target", "kpa", "pressure"),
    ("fuel_flow_g_s", "fuel flow", "g_s", "mass_flow"),
    ("air_flow_g_s", "air flow", "g_s", "mass_flow"),
    ("battery_v", "battery voltage", "v", "voltage"),
)

CHANNELS: Mapping[str, Channel] = MappingProxyType({row[0]: Channel(*row) for row in _CHANNEL_ROWS})

_TERM_ROWS = (
    ("roller speed", "ω", "rad/s", "one a sample", "slope of the local fit to the roller's angle or speed"),
    ("roller acceleration", "α", "rad/s²", "one a sample", "Savitzky and Golay 1964: slope of the local fit"),
    ("inertia", "J", "kg·m²", "one a calibration", "the cell's calibration in force"),
    ("brake torque", "τ_b", "N·m", "one a sample", "load-cell force × arm; positive when it resists the car"),
    ("parasitic torque", "τ_l", "N·m", "one a sample", "c0 + c1·ω + c2·ω² of the bare rollers' coast-down"),
    ("observed power", "P_roller", "W", "one a grid point", "ω·(J·α + τ_b + τ_l(ω)): wheel power, as measured"),
    ("power", "P_corrected", "W", "one a grid point", "k · P_roller, k from the named standard and the pull's own air"),
    ("torque", "T_engine", "N·m", "one a grid point", "P_corrected / (2π·n/60): wheel power referred to engine speed"),
    (
        "spread",
        "s",
        "W",
        "one a grid point",
        "standard deviation that the samples' scatter leaves on the curve here",
    ),
    ("engine speed", "n", "rev/min", "one a grid point", "its channel, dropouts bridged, or the stated ratio"),
    (
        "ratio",
        "n/ω",
        "engine turns per roller turn",
        "one a sweep",
        "median over the sweep; drift beyond 1.5 % is flagged",
    ),
    ("correction factor", "k", "1", "one a pull", "the named standard; see `correction`"),
    ("vapour pressure", "p_v", "kPa", "one a reading", "Hyland and Wexler 1983; see `air`"),
    ("dry pressure", "p_d", "kPa", "one a reading", "station pressure less vapour pressure"),
    (
        "window",
        "–",
        "s",
        "one a sweep",
        "full width of the local fit; unless stated, chosen for each part of the sweep: see `bends`",
    ),
    ("expanded uncertainty", "U", "as its figure", "one a headline figure", "JCGM 100:2008 (GUM), k = 2"),
    ("area", "–", "W·rev/min", "one a sweep", "trapezoids under corrected power over the band"),
)

GLOSSARY: Mapping[str, Term] = MappingProxyType({row[0]: Term(*row) for row in _TERM_ROWS})
