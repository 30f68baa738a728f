"""How the loggers and spreadsheets of the year write a file: separators, decimals, languages, units, columns."""

from dataclasses import dataclass
from math import pi

STOICHIOMETRIC = {"petrol": 14.7, "e10": 14.1, "diesel": 14.5}
KM_H, MPH, PSI = 3.6, 3600.0 / 1609.344, 1.0 / 6.894757293168361


@dataclass(frozen=True)
class Column:
    """One column: which channel, what stands over it, and how an inside value becomes the number written."""

    channel: str
    heading: str
    unit: str = ""
    factor: float = 1.0
    offset: float = 0.0
    decimals: int = 2


@dataclass(frozen=True)
class Dialect:
    """One kind of file. `units_stand` is how a unit follows its heading: "({})", "[{}]", "/ {}", or "row", or "no"."""

    columns: tuple[Column, ...]
    file_name: str
    separator: str = ","
    decimal: str = "."
    encoding: str = "utf-8"
    newline: str = "\r\n"
    units_stand: str = "({})"
    quoted: bool = False
    comments: tuple[str, ...] = ()
    clock: bool = False  # time as hours, minutes and seconds of the day
    map_name: str = ""  # its headings leave a doubt; the shop settled it once, by a channel map of this name
    map_units: tuple[str, ...] = ()  # the service's unit identifiers, column by column


def _usual(names: tuple[tuple[str, str, str, float, float, int], ...]) -> tuple[Column, ...]:
    return tuple(Column(*name) for name in names)


BENCH = Dialect(
    _usual((
        ("time_s", "Time", "s", 1, 0, 3), ("roller_speed_rad_s", "Roller speed", "rad/s", 1, 0, 4),
        ("engine_speed_rpm", "Engine speed", "rpm", 1, 0, 1), ("brake_torque_nm", "Brake torque", "Nm", 1, 0, 2),
        ("throttle_pct", "Throttle", "%", 1, 0, 1), ("lambda_measured", "Lambda", "", 1, 0, 3),
        ("lambda_commanded", "Lambda target", "", 1, 0, 3),
        ("manifold_pressure_kpa", "Manifold absolute pressure", "kPa", 1, 0, 1),
        ("intake_temperature_c", "Intake temperature", "°C", 1, 0, 1),
        ("coolant_temperature_c", "Coolant temperature", "°C", 1, 0, 1),
        ("oil_temperature_c", "Oil temperature", "°C", 1, 0, 1), ("fuel_pressure_kpa", "Fuel pressure", "kPa", 1, 0, 0),
    )),
    "{date}_{model}_{number:02d}.csv",
)  # fmt: skip
PRUEFSTAND = Dialect(
    _usual((
        ("time_s", "Zeit", "s", 1, 0, 3), ("roller_surface_speed_m_s", "Rollengeschwindigkeit", "km/h", KM_H, 0, 3),
        ("engine_speed_rpm", "Motordrehzahl", "1/min", 1, 0, 0), ("brake_torque_nm", "Bremsmoment", "Nm", 1, 0, 1),
        ("throttle_pct", "Drosselklappe", "%", 1, 0, 1), ("lambda_measured", "Lambda", "-", 1, 0, 3),
        ("lambda_commanded", "Lambda Soll", "-", 1, 0, 3),
        ("manifold_pressure_kpa", "Saugrohrdruck", "mbar abs", 10, 0, 0),
        ("intake_temperature_c", "Ansauglufttemperatur", "°C", 1, 0, 1),
        ("coolant_temperature_c", "Kühlmitteltemperatur", "°C", 1, 0, 1),
        ("oil_temperature_c", "Öltemperatur", "°C", 1, 0, 1),
    )),
    "Messung_{number:03d}_{date}.txt", separator=";", decimal=",", encoding="cp1252", units_stand="[{}]",
)  # fmt: skip
BANCO = Dialect(
    _usual((
        ("time_s", "Tiempo", "s", 1, 0, 3), ("roller_speed_rad_s", "Velocidad del rodillo", "rpm", 30.0 / pi, 0, 3),
        ("engine_speed_rpm", "Régimen motor", "rpm", 1, 0, 0), ("throttle_pct", "Mariposa", "%", 1, 0, 1),
        ("lambda_measured", "Lambda", "", 1, 0, 3), ("manifold_pressure_kpa", "Presión colector", "kPa", 1, 0, 1),
        ("intake_temperature_c", "Temperatura admisión", "°C", 1, 0, 1),
        ("oil_temperature_c", "Temperatura aceite", "°C", 1, 0, 1), ("battery_v", "Batería", "V", 1, 0, 2),
    )),
    "tirada_{date}_{number}.tsv", separator="\t", encoding="utf-8-sig", units_stand="row",
    map_name="Pass cell logger", map_units=("s", "rev_min", "rev_min", "pct", "lambda", "kpa", "c", "c", "v"),
)  # fmt: skip
BANC = Dialect(
    _usual((
        ("time_s", "Temps", "s", 1, 0, 3), ("roller_surface_speed_m_s", "Vitesse rouleau", "km/h", KM_H, 0, 3),
        ("engine_speed_rpm", "Régime moteur", "tr/min", 1, 0, 0), ("throttle_pct", "Papillon", "%", 1, 0, 1),
        ("lambda_measured", "Lambda", "", 1, 0, 3), ("lambda_commanded", "Lambda consigne", "", 1, 0, 3),
        ("manifold_pressure_kpa", "Pression collecteur absolue", "bar", 0.01, 0, 3),
        ("intake_temperature_c", "Température admission", "°C", 1, 0, 1),
        ("oil_temperature_c", "Température huile", "°C", 1, 0, 1),
        ("coolant_temperature_c", "Température eau", "°C", 1, 0, 1),
    )),
    "essai {number} du {date}.csv", separator=";", decimal=",", encoding="utf-16",
)  # fmt: skip
COUNTER = Dialect(
    _usual((
        ("time_s", "Time", "ms", 1000, 0, 0), ("roller_pulses", "Roller pulses total", "", 1, 0, 0),
        ("engine_speed_rpm", "Engine speed", "rpm", 1, 0, 0), ("throttle_pct", "Throttle", "%", 1, 0, 0),
        ("lambda_measured", "Lambda", "", 1, 0, 3), ("brake_torque_nm", "Brake torque", "Nm", 1, 0, 1),
        ("intake_temperature_c", "Intake temperature", "°C", 1, 0, 0),
        ("battery_v", "Battery voltage", "V", 1, 0, 2),
    )),
    "run{number:04d}.csv", newline="\n",
    comments=("# pulse counter, 60 teeth on the roller shaft", "# {date}, 100 samples/s"),
)  # fmt: skip
NOTEBOOK = Dialect(
    _usual((
        ("time_s", "Time", "s", 1, 0, 3), ("roller_surface_speed_m_s", "Roller speed", "mph", MPH, 0, 3),
        ("engine_speed_rpm", "RPM", "", 1, 0, 0), ("throttle_pct", "Throttle", "%", 1, 0, 0),
        ("lambda_measured", "AFR petrol", "", STOICHIOMETRIC["petrol"], 0, 2),
        ("manifold_gauge_kpa", "Boost", "psi gauge", PSI, 0, 2),
        ("intake_temperature_c", "Intake temperature", "°F", 1.8, 32, 1),
        ("knock_retard_deg", "Knock retard", "deg", 1, 0, 1),
    )),
    "{model} pull {number} {date}.csv", quoted=True,
)  # fmt: skip
CLOCK = Dialect(
    _usual((
        ("time_s", "Time", "", 1, 0, 3), ("roller_surface_speed_m_s", "Roller speed", "km/h", KM_H, 0, 3),
        ("engine_speed_rpm", "Engine speed", "1/min", 1, 0, 0), ("throttle_pct", "Throttle", "%", 1, 0, 0),
        ("manifold_pressure_kpa", "Manifold absolute pressure", "mbar", 10, 0, 0),
        ("intake_temperature_c", "Intake temperature", "°C", 1, 0, 1),
        ("oil_temperature_c", "Oil temperature", "°C", 1, 0, 1),
        ("coolant_temperature_c", "Coolant temperature", "°C", 1, 0, 1),
    )),
    "log-{date}-{number:02d}.csv", units_stand="/ {}", clock=True, newline="\n",
)  # fmt: skip
ARM = Dialect(
    _usual((
        ("time_s", "Time", "s", 1, 0, 3), ("roller_speed_rad_s", "Roller speed", "rev/min", 30.0 / pi, 0, 3),
        ("engine_speed_rpm", "Engine speed", "rev/min", 1, 0, 0), ("brake_force_n", "Brake force", "N", 1, 0, 1),
        ("throttle_pct", "Throttle", "%", 1, 0, 1), ("lambda_measured", "Lambda", "", 1, 0, 3),
        ("lambda_commanded", "Commanded lambda", "", 1, 0, 3),
        ("manifold_gauge_kpa", "Manifold gauge pressure", "kPa", 1, 0, 1),
        ("intake_temperature_c", "Intake temperature", "°C", 1, 0, 1),
        ("ignition_advance_deg", "Ignition advance", "deg", 1, 0, 1),
        ("coolant_temperature_c", "Coolant temperature", "°C", 1, 0, 1),
    )),
    "{date} {model} pull {number}.csv", separator="\t", newline="\n", units_stand="[{}]",
    comments=("* load cell on a 350 mm arm",),
)  # fmt: skip
NUMBERED = Dialect(
    _usual((
        ("time_s", "CH0", "", 1, 0, 3), ("roller_surface_speed_m_s", "CH1", "", KM_H, 0, 2),
        ("engine_speed_rpm", "CH2", "", 1, 0, 0), ("throttle_pct", "CH3", "", 1, 0, 0),
        ("lambda_measured", "CH4", "", 1, 0, 3), ("battery_v", "CH5", "", 1, 0, 2),
        ("intake_temperature_c", "CH6", "", 1, 0, 0),
    )),
    "LOG{number:05d}.CSV", units_stand="no",
)  # fmt: skip
BARE = Dialect(
    _usual((
        ("time_s", "Time", "s", 1, 0, 3), ("roller_speed_rad_s", "Roller speed", "rad/s", 1, 0, 4),
        ("engine_speed_rpm", "Engine speed", "rpm", 1, 0, 0), ("throttle_pct", "Throttle", "%", 1, 0, 0),
    )),
    "{model}-{date}-{number:02d}.csv", newline="\n",
)  # fmt: skip
DIALECTS = {
    "bench": BENCH,
    "pruefstand": PRUEFSTAND,
    "banco": BANCO,
    "banc": BANC,
    "counter": COUNTER,
    "notebook": NOTEBOOK,
    "clock": CLOCK,
    "arm": ARM,
    "numbered": NUMBERED,
    "bare": BARE,
}
