"""Units at the edges: every unit a file or a person may use, and its exact way to the unit that is used inside.

Inside there is one unit for each dimension: s, rad/s, m/s, N·m, N, W, kPa, °C, λ, m, kg, %, deg, g/s, V, a bare count.
Engine speed alone stays in rev/min, because that is how the trade writes it; `inside_unit` of its channel says so.
The constants are the definitions (pound 0.45359237 kg, foot 0.3048 m, standard gravity 9.80665 m/s², conventional
mercury 13 595.1 kg/m³); the tests hold them against a units library.
"""

from collections.abc import Mapping
from math import pi
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pullbook.late_methods import dataclass

_TURN = 2.0 * pi
_GRAVITY = 9.80665
_POUND = 0.45359237
_FOOT = 0.3048
_LBF = _POUND * _GRAVITY
_MMHG_KPA = 0.133322387415

# Air to fuel by mass at λ = 1, as air–fuel gauges are scaled. Petrol 14.7 and diesel 14.5 are the trade's figures;
# blends weigh petrol (0.745 kg/l) and ethanol (0.789 kg/l, 9.0) by mass; LPG is taken as propane, CNG as methane.
STOICHIOMETRIC: Mapping[str, float] = MappingProxyType(
    {
        "afr_petrol": 14.7,
        "afr_e10": 14.1,
        "afr_e85": 9.8,
        "afr_ethanol": 9.0,
        "afr_methanol": 6.47,
        "afr_diesel": 14.5,
        "afr_lpg": 15.7,
        "afr_cng": 17.2,
    }
)


@dataclass(frozen=True)
class Unit:
    """One unit. A value in it is `(value + offset) * factor` in the inside unit of its dimension."""

    identifier: str
    dimension: str
    factor: float
    offset: float
    label: str


_PLAIN: dict[str, dict[str, tuple[float, str]]] = {
    "time": {"s": (1.0, "s"), "ms": (1e-3, "ms"), "min": (60.0, "min")},
    "angular_speed": {"rad_s": (1.0, "rad/s"), "rev_min": (_TURN / 60.0, "rev/min"), "rev_s": (_TURN, "rev/s")},
    "speed": {"m_s": (1.0, "m/s"), "km_h": (1.0 / 3.6, "km/h"), "mph": (0.44704, "mph")},
    "torque": {"nm": (1.0, "N·m"), "lbf_ft": (_LBF * _FOOT, "lbf·ft"), "kgf_m": (_GRAVITY, "kgf·m")},
    "force": {"n": (1.0, "N"), "kgf": (_GRAVITY, "kgf"), "lbf": (_LBF, "lbf"), "kn": (1e3, "kN")},
    "power": {
        "w": (1.0, "W"),
        "kw": (1e3, "kW"),
        "hp": (550.0 * _FOOT * _LBF, "hp"),
        "ps": (75.0 * _GRAVITY, "PS"),
    },
    "pressure": {
        "kpa": (1.0, "kPa"),
        "pa": (1e-3, "Pa"),
        "hpa": (0.1, "hPa"),
        "mbar": (0.1, "mbar"),
        "bar": (100.0, "bar"),
        "psi": (_LBF / 0.0254**2 / 1e3, "psi"),
        "inhg": (25.4 * _MMHG_KPA, "inHg"),
        "mmhg": (_MMHG_KPA, "mmHg"),
        "atm": (101.325, "atm"),
    },
    "mixture": {"lambda": (1.0, "λ")},
    "length": {"m": (1.0, "m"), "mm": (1e-3, "mm"), "in": (0.0254, "in"), "ft": (_FOOT, "ft")},
    "mass": {"kg": (1.0, "kg"), "lb": (_POUND, "lb"), "g": (1e-3, "g")},
    "ratio": {"pct": (1.0, "%"), "fraction": (100.0, "of 1")},
    "angle": {"deg": (1.0, "°")},
    "count": {"count": (1.0, "count")},
    "mass_flow": {"g_s": (1.0, "g/s"), "kg_h": (1.0 / 3.6, "kg/h"), "lb_h": (_POUND / 3.6, "lb/h")},
    "voltage": {"v": (1.0, "V")},
}


def _units() -> dict[str, Unit]:
    made = {
        name: Unit(name, dimension, factor, 0.0, label)
        for dimension, members in _PLAIN.items()
        for name, (factor, label) in members.items()
    }
    for name, offset, factor, label in (("c", 0.0, 1.0, "°C"), ("f", -32.0, 5.0 / 9.0, "°F"), ("k", -273.15, 1.0, "K")):
        made[name] = Unit(name, "temperature", factor, offset, label)
    for name, ratio in STOICHIOMETRIC.items():
        made[name] = Unit(name, "mixture", 1.0 / ratio, 0.0, f"air–fuel ratio, {name.removeprefix('afr_')}")
    return made


UNITS: Mapping[str, Unit] = MappingProxyType(_units())


def unit(identifier: str) -> Unit:
    """The unit of this identifier; ValueError names the known ones."""
    try:
        return UNITS[identifier]
    except KeyError:
        raise ValueError(f"unit '{identifier}' is not known here; known are {', '.join(sorted(UNITS))}") from None


def to_inside(values: ArrayLike, identifier: str, inside: str | None = None) -> NDArray[np.float64]:
    """Values in a unit as values in the inside unit of its dimension, or in `inside` where a channel keeps another.

    `values` of any shape; the answer is a new float64 array of that shape. ValueError for a unit that is unknown or of
    another dimension than `inside`.
    """
    had = unit(identifier)
    made = (np.asarray(values, dtype=np.float64) + had.offset) * had.factor
    return made if inside is None else from_inside(made, _same_dimension(had, inside).identifier)


def from_inside(values: ArrayLike, identifier: str, inside: str | None = None) -> NDArray[np.float64]:
    """The way back: values in the inside unit (or in `inside`) as values in this unit; same shape, float64."""
    wanted = unit(identifier)
    given = np.asarray(values, dtype=np.float64)
    if inside is not None:
        kept = _same_dimension(wanted, inside)
        given = (given + kept.offset) * kept.factor
    return given / wanted.factor - wanted.offset


def _same_dimension(one: Unit, other: str) -> Unit:
    found = unit(other)
    if found.dimension != one.dimension:
        raise ValueError(f"unit '{one.identifier}' is a {one.dimension}, '{other}' is a {found.dimension}")
    return found
