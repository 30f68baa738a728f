"""The units a shop shows its numbers in. Inside they stay SI; here, at the edge, they turn into kW, hp or psi."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pullbook.late_methods import dataclass
from pullbook.measure.units import UNITS, Unit, from_inside

_BY_LABEL = {(unit.dimension, unit.label): unit.identifier for unit in UNITS.values()}
CHOICES: dict[str, tuple[str, ...]] = {
    "power": ("kW", "hp", "PS"),
    "torque": ("N·m", "lbf·ft", "kgf·m"),
    "pressure": ("kPa", "bar", "psi", "hPa", "inHg"),
    "temperature": ("°C", "°F"),
    "speed": ("km/h", "mph"),
}
_DECIMALS = {
    "kW": 1,
    "hp": 1,
    "PS": 1,
    "N·m": 1,
    "lbf·ft": 1,
    "kgf·m": 2,
    "kPa": 1,
    "hPa": 0,
    "bar": 3,
    "psi": 2,
    "inHg": 2,
}


@dataclass(frozen=True)
class ShownUnits:
    """The labels of the shop's units. Unknown labels fall back to the first choice of their dimension."""

    power: str = "kW"
    torque: str = "N·m"
    pressure: str = "kPa"
    temperature: str = "°C"
    speed: str = "km/h"

    def label(self, dimension: str) -> str:
        """The label to print beside a number of this dimension."""
        label = str(getattr(self, dimension))
        return label if (dimension, label) in _BY_LABEL else CHOICES[dimension][0]

    def edge(self, dimension: str) -> Unit:
        """The unit itself, for a field that people type in: a value inside is `(typed + offset) * factor`."""
        return UNITS[_BY_LABEL[dimension, self.label(dimension)]]

    def decimals(self, dimension: str) -> int:
        """How many decimals this unit is printed with: about a thousandth of a usual value."""
        return _DECIMALS.get(self.label(dimension), 1)

    def values(self, values: ArrayLike, dimension: str) -> NDArray[np.float64]:
        """Inside values (W, N·m, kPa, °C, m/s) as values in the shop's unit; same shape."""
        return from_inside(values, _BY_LABEL[dimension, self.label(dimension)])

    def number(self, value: float, dimension: str) -> float:
        """One SI value in the shop's unit."""
        return float(self.values(value, dimension))

    def text(self, value: float, dimension: str, decimals: int | None = None) -> str:
        """One SI value as people read it: number and unit, a no-break space between."""
        places = self.decimals(dimension) if decimals is None else decimals
        return f"{plain_number(self.number(value, dimension), places)}\u00a0{self.label(dimension)}"


def plain_number(value: float, decimals: int = 0) -> str:
    """A number with this many decimals, thousands apart by a thin no-break space, and a true minus sign."""
    text = f"{value:,.{decimals}f}".replace(",", "\u202f")
    if set(text) <= set("-0.\u202f"):
        text = text.lstrip("-")
    return text.replace("-", "−")
