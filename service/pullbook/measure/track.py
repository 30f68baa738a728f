"""What a timed run says of power, by the cube-root rules: a check of plausibility, never a measurement of power.

Elapsed time goes with (mass / power)^(1/3), trap speed with (power / mass)^(1/3). Both follow from a car that puts a
constant power into its own mass from a standing start: x = 2/3 · √(2P/m) · t^(3/2), so t = (9 m x² / 8P)^(1/3) and
v = (3 P x / m)^(1/3). Published constants, fitted to road tests over the quarter mile, take up what that leaves out:
grip, drag, gears, the power that turns wheels. They were fitted to the power that makers rate at the engine, so the
power a run implies lies above wheel power. Other distances go by the same law, t with x^(2/3) and v with x^(1/3):
the further from the quarter mile, the less they say.

Over 32 published road tests the rule misses elapsed time by 6 % (root mean square), so power by 17 %.
"""

from collections.abc import Mapping, Sequence
from math import sqrt
from types import MappingProxyType

from pullbook.late_methods import dataclass
from pullbook.measure.units import UNITS

QUARTER_MILE_M = 402.336
# what strips are marked for, by the metre
DISTANCES_M: Mapping[str, float] = MappingProxyType(
    {
        "quarter mile": QUARTER_MILE_M,
        "eighth of a mile": 201.168,
        "1 000 ft": 304.8,
        "half a mile": 804.672,
        "500 m": 500.0,
        "1 000 m": 1000.0,
        "mile": 1609.344,
    }
)
SPREAD = 0.17  # one standard deviation of power, as a share
DRIVELINE = (0.0, 0.25)  # common practice: wheel power is as much as a quarter below the engine's rated power
_LB_HP = UNITS["lb"].factor / UNITS["hp"].factor  # kg/W for one pound a horsepower
_MPH = UNITS["mph"].factor


@dataclass(frozen=True)
class CubeRootRule:
    """Constants over the quarter mile, as printed: `elapsed` in s for one lb/hp, `trap` in mph for one hp/lb."""

    identifier: str
    title: str
    elapsed: float
    trap: float
    source: str


_ROWS = (
    ("huntington_1958", "Huntington 1958", 6.290, 224.0, "ET = 6.29 (lb/hp)^(1/3), mph = 224 (hp/lb)^(1/3)"),
    ("fox_mccaul_1973", "Fox and McCaul 1973", 6.269, 230.0, "ET = 6.269 (lb/hp)^(1/3), mph = 230 (hp/lb)^(1/3)"),
    ("hale_1986", "Hale 1986", 5.825, 234.0, "ET = 5.825 (lb/hp)^(1/3), mph = 234 (hp/lb)^(1/3)"),
)
RULES: Mapping[str, CubeRootRule] = MappingProxyType({row[0]: CubeRootRule(*row) for row in _ROWS})
USUAL_RULE = "fox_mccaul_1973"  # of the three it misses the 32 road tests least, on average by 0.15 s


@dataclass(frozen=True)
class Implied:
    """A power by the rule, W; `low_w` to `high_w` is ± its spread of 17 % (one standard deviation)."""

    power_w: float
    by: str  # elapsed, trap

    @property
    def low_w(self) -> float:
        """The lower end."""
        return self.power_w * (1.0 - SPREAD)

    @property
    def high_w(self) -> float:
        """The upper end."""
        return self.power_w * (1.0 + SPREAD)


def elapsed_for_s(power_w: float, mass_kg: float, distance_m: float = QUARTER_MILE_M, rule: str = USUAL_RULE) -> float:
    """Elapsed time by the rule, s, for a rated power over a distance from a standing start."""
    over = (distance_m / QUARTER_MILE_M) ** (2.0 / 3.0)
    made: float = RULES[rule].elapsed * over * (mass_kg / power_w / _LB_HP) ** (1.0 / 3.0)
    return made


def trap_for_m_s(power_w: float, mass_kg: float, distance_m: float = QUARTER_MILE_M, rule: str = USUAL_RULE) -> float:
    """Speed at the end of the distance by the rule, m/s."""
    over = (distance_m / QUARTER_MILE_M) ** (1.0 / 3.0)
    made: float = RULES[rule].trap * _MPH * over * (_LB_HP * power_w / mass_kg) ** (1.0 / 3.0)
    return made


def implied_powers(
    mass_kg: float,
    distance_m: float,
    elapsed_s: float | None,
    trap_speed_m_s: float | None,
    rule: str = USUAL_RULE,
) -> tuple[Implied, ...]:
    """The power that a run implies: by elapsed time, by trap speed, or both; all given numbers are above nought."""
    found = []
    if elapsed_s is not None:
        found.append(Implied((elapsed_for_s(1.0, mass_kg, distance_m, rule) / elapsed_s) ** 3, "elapsed"))
    if trap_speed_m_s is not None:
        found.append(Implied((trap_speed_m_s / trap_for_m_s(1.0, mass_kg, distance_m, rule)) ** 3, "trap"))
    return tuple(found)


@dataclass(frozen=True)
class Gathered:
    """Several runs of one setup: mean of what they imply, its scatter (n - 1; None for a single one), and how many."""

    power_w: float
    scatter_w: float | None
    counted: int


def gathered(powers_w: Sequence[float]) -> Gathered | None:
    """Runs of one setup taken together; None where there are none."""
    if not powers_w:
        return None
    mean = sum(powers_w) / len(powers_w)
    if len(powers_w) == 1:
        return Gathered(mean, None, 1)
    return Gathered(mean, sqrt(sum((one - mean) ** 2 for one in powers_w) / (len(powers_w) - 1)), len(powers_w))


def plausible(implied_w: float, wheel_w: float) -> str:
    """Wheel power beside what runs imply: `plausible`, `wheel_high` or `wheel_low`.

    Plausible is anything that the rule's ± 17 % and a driveline that takes nothing to a quarter can explain.
    """
    low, high = (1.0 - SPREAD) * (1.0 - DRIVELINE[1]), (1.0 + SPREAD) * (1.0 - DRIVELINE[0])
    ratio = wheel_w / implied_w
    return "wheel_low" if ratio < low else "wheel_high" if ratio > high else "plausible"
