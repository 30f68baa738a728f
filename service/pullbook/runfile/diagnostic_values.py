"""Answers to mode 01 of SAE J1979 (ISO 15031-5) → values with units.

A positive answer is 41, then one to six times a parameter's number and its data bytes (A, B, C, D below); ISO 15765-4
allows up to six in one answer. The widths to 5F are held against python-OBD 0.7.3 and the formulas against the outside
values in the tests; the widths beyond 5F are from memory, so only those are named that are sure.
"""

from collections.abc import Callable, Iterator, Mapping
from types import MappingProxyType

from pullbook.late_methods import dataclass

POSITIVE, NEGATIVE = 0x41, 0x7F
MOST_IN_ONE = 6


@dataclass(frozen=True, slots=True)
class Meaning:
    """One value of a parameter: `name` here, `heading` and `unit` over its column, and its formula over the bytes.

    Meanings of one `heading` say the same quantity; `rank` says which is taken first where several are answered.
    """

    name: str
    heading: str
    unit: str
    value: Callable[[bytes], float]
    rank: int = 0


def _word(data: bytes, at: int = 0) -> int:
    return 256 * data[at] + data[at + 1]


def _percent(data: bytes) -> float:
    return 100.0 * data[0] / 255.0


def _trim(data: bytes) -> float:
    return (data[0] - 128) * 100.0 / 128.0


def _degrees(data: bytes) -> float:
    return data[0] - 40.0


def _ratio(data: bytes) -> float:
    return _word(data) * 2.0 / 65_536.0


_ONE: dict[int, Meaning] = {
    0x04: Meaning("engine_load", "Calculated load", "%", _percent),
    0x05: Meaning("coolant_temperature", "Coolant temperature", "°C", _degrees),
    0x06: Meaning("short_trim", "Short-term trim", "%", _trim),
    0x07: Meaning("long_trim", "Long-term trim", "%", _trim),
    0x08: Meaning("short_trim_2", "Short-term trim, bank 2", "%", _trim),
    0x09: Meaning("long_trim_2", "Long-term trim, bank 2", "%", _trim),
    0x0A: Meaning("fuel_pressure", "Fuel pressure", "kPa", lambda data: 3.0 * data[0], 1),
    0x0B: Meaning("manifold_pressure", "Manifold absolute pressure", "kPa", lambda data: float(data[0])),
    0x0C: Meaning("engine_speed", "Engine speed", "rpm", lambda data: _word(data) / 4.0),
    0x0D: Meaning("vehicle_speed", "Vehicle speed", "km/h", lambda data: float(data[0])),
    0x0E: Meaning("ignition_advance", "Ignition advance", "deg", lambda data: data[0] / 2.0 - 64.0),
    0x0F: Meaning("intake_temperature", "Intake air temperature", "°C", _degrees),
    0x10: Meaning("air_flow", "Air mass flow", "g/s", lambda data: _word(data) / 100.0),
    0x11: Meaning("throttle", "Throttle", "%", _percent),
    # 5177.265 kPa over 65535 steps, above the manifold's pressure
    0x22: Meaning("rail_above_manifold", "Fuel pressure", "kPa", lambda data: 0.079 * _word(data), 2),
    0x23: Meaning("rail_pressure", "Fuel pressure", "kPa", lambda data: 10.0 * _word(data), 0),
    0x33: Meaning("barometric_pressure", "Barometric pressure", "kPa", lambda data: float(data[0])),
    0x42: Meaning("module_voltage", "Battery voltage", "V", lambda data: _word(data) / 1000.0),
    0x43: Meaning("absolute_load", "Absolute load", "%", lambda data: _word(data) * 100.0 / 255.0),
    0x44: Meaning("commanded_ratio", "Lambda commanded", "", _ratio),
    0x46: Meaning("ambient_temperature", "Ambient temperature", "°C", _degrees),
    0x52: Meaning("ethanol", "Ethanol in the fuel", "%", _percent),
    0x59: Meaning("rail_absolute", "Fuel pressure", "kPa", lambda data: 10.0 * _word(data), 3),
    0x5C: Meaning("oil_temperature", "Oil temperature", "°C", _degrees),
}


def _sensor(number: int, second: str) -> tuple[Meaning, ...]:
    """A wide-range oxygen sensor: λ in A and B, and in C and D its voltage (24–2B) or its current (34–3B)."""
    ratio = Meaning(f"ratio_{number}", "Lambda", "", _ratio, number)
    if second == "V":
        return ratio, Meaning(f"voltage_{number}", f"Sensor {number} signal", "V", _volts)
    return ratio, Meaning(f"current_{number}", f"Sensor {number} current", "mA", _milliamps)


def _volts(data: bytes) -> float:
    return _word(data, 2) * 8.0 / 65_536.0


def _milliamps(data: bytes) -> float:
    return _word(data, 2) / 256.0 - 128.0


# parameter number → what its bytes say
MEANINGS: Mapping[int, tuple[Meaning, ...]] = MappingProxyType(
    {
        **{number: (meaning,) for number, meaning in _ONE.items()},
        **{0x24 + place: _sensor(place + 1, "V") for place in range(8)},
        **{0x34 + place: _sensor(place + 1, "mA") for place in range(8)},
    }
)

_WIDTH_4 = (0x00, 0x01, *range(0x24, 0x2C), *range(0x34, 0x3C), 0x20, 0x40, 0x41, 0x4F, 0x50, 0x60, 0x80, 0xA0)
_WIDTH_2 = (
    *(0x02, 0x03, 0x0C, 0x10, *range(0x14, 0x1C), 0x1F, 0x21, 0x22, 0x23, 0x31, 0x32, *range(0x3C, 0x40)),
    *(0x42, 0x43, 0x44, 0x4D, 0x4E, 0x53, 0x54, *range(0x55, 0x5A), 0x5D, 0x5E, 0x63),
)
_WIDTH_1 = (
    *(*range(0x04, 0x0C), *range(0x0D, 0x10), 0x11, 0x12, 0x13, 0x1C, 0x1D, 0x1E, *range(0x2C, 0x31), 0x33),
    *(*range(0x45, 0x4D), 0x51, 0x52, 0x5A, 0x5B, 0x5C, 0x5F, 0x61, 0x62),
)
# parameter number → how many bytes it has; of a number that is not here only the first bytes' place is known
WIDTHS: Mapping[int, int] = MappingProxyType(
    {**dict.fromkeys(_WIDTH_1, 1), **dict.fromkeys(_WIDTH_2, 2), **dict.fromkeys(_WIDTH_4, 4)}
)


def parameters_in(payload: bytes) -> Iterator[tuple[int, bytes | None]]:
    """Each parameter of a positive answer with its bytes; None for bytes where its width is not known or they end
    early, after which nothing more can be told apart.

    `payload` begins with 41. A single parameter of unknown width takes all the rest.
    """
    at = 1
    for _ in range(MOST_IN_ONE):
        if at >= len(payload):
            return
        number = payload[at]
        width = WIDTHS.get(number)
        data = payload[at + 1 : at + 1 + width] if width is not None else b""
        if width is None or len(data) < width:
            yield number, None
            return
        yield number, data
        at += 1 + width


def values_of(number: int, data: bytes) -> Iterator[tuple[Meaning, float]]:
    """What a parameter's bytes say; nothing for one that is not read here."""
    for meaning in MEANINGS.get(number, ()):
        yield meaning, meaning.value(data)
