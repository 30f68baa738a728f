"""Correction standards: from the air of a pull to the factor that brings its power to a standard's reference air.

All are written for the crankshaft on an engine bench; at the wheels they are common practice, no more. Temperatures are
t + 273 as the standards write it, pressures in kPa. A factor outside a standard's own limits is still given, marked.
Compression-ignition engines have a rule of their own in ISO 1585, UN R85 (`iso_1585`), which the other standards of
today borrow (the note says so); the old ones (J607, DIN 70020) never had one and use the one formula for all.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Literal

from pullbook.late_methods import dataclass
from pullbook.measure.air import Air

Ignition = Literal["spark", "compression"]
Aspiration = Literal["natural", "mechanical", "turbo"]

_SPARK_LIMITS = (0.93, 1.07)
_COMPRESSION_LIMITS = (0.9, 1.1)
_EFFICIENCY = 0.85
_INHG_KPA = 3.386388640341


@dataclass(frozen=True)
class Engine:
    """What a standard asks about the engine.

    `fuel_per_litre_cycle_mg` is q_c: fuel for each litre of swept volume and cycle, already divided by the pressure
    ratio where the engine is charged. `holds_own_boost`: its controller makes up thin air by itself.
    """

    ignition: Ignition = "spark"
    aspiration: Aspiration = "natural"
    fuel_per_litre_cycle_mg: float | None = None
    holds_own_boost: bool = False


@dataclass(frozen=True)
class Standard:
    """One correction standard: `limits` are its own, for spark ignition; None where it states none."""

    identifier: str
    title: str
    reference: str
    limits: tuple[float, float] | None
    note: str


@dataclass(frozen=True)
class Factor:
    """The factor k of one standard for one air and engine; `valid` is False outside the standard's own limits."""

    value: float
    valid: bool
    limits: tuple[float, float] | None
    note: str


def spark_f(air: Air) -> float:
    """f = (99/p_d)·√(T/298), which both revisions of SAE J1349 are built on; dimensionless."""
    return float(99.0 / air.dry_pressure_kpa * _over_298(air) ** 0.5)


def compression_f_a(air: Air, aspiration: Aspiration) -> float:
    """The air's part of the compression-ignition factor (UN R85 annex 5, 5.4.2.1), dimensionless."""
    dry = 99.0 / air.dry_pressure_kpa
    if aspiration == "turbo":
        return float(dry**0.7 * _over_298(air) ** 1.5)
    return float(dry * _over_298(air) ** 0.7)


def compression_f_m(fuel_per_litre_cycle_mg: float) -> float:
    """The engine's part, f_m = 0.036·q − 1.14 from 40 to 65 mg per litre and cycle, 0.3 below, 1.2 above (UN R85)."""
    if fuel_per_litre_cycle_mg < 40.0:
        return 0.3
    return 1.2 if fuel_per_litre_cycle_mg > 65.0 else 0.036 * fuel_per_litre_cycle_mg - 1.14


def _over_298(air: Air) -> float:
    return (air.temperature_c + 273.0) / 298.0


def _j1349(air: Air) -> float:
    return spark_f(air) / _EFFICIENCY - (1.0 / _EFFICIENCY - 1.0)


def _j1349_1990(air: Air) -> float:
    return 1.180 * spark_f(air) - 0.180


def _j607(air: Air) -> float:
    fahrenheit = air.temperature_c * 1.8 + 32.0
    return float(29.92 / (air.dry_pressure_kpa / _INHG_KPA) * ((460.0 + fahrenheit) / 520.0) ** 0.5)


def _iso_1585(air: Air) -> float:
    return float((99.0 / air.dry_pressure_kpa) ** 1.2 * _over_298(air) ** 0.6)


def _din_70020(air: Air) -> float:
    return float(101.3 / air.pressure_kpa * ((air.temperature_c + 273.0) / 293.0) ** 0.5)


def _observed(air: Air) -> float:
    return 1.0


_COMMON_NOTE = "Written for the crankshaft on an engine bench; used at the wheels by common practice."
_DRY_REFERENCE = "25 °C, 99 kPa dry"
_ROWS: tuple[tuple[Standard, Callable[[Air], float], bool], ...] = (
    (Standard("sae_j1349", "SAE J1349 (2004)", _DRY_REFERENCE, _SPARK_LIMITS, _COMMON_NOTE), _j1349, True),
    (Standard("sae_j1349_1990", "SAE J1349 (1990)", _DRY_REFERENCE, _SPARK_LIMITS, _COMMON_NOTE), _j1349_1990, True),
    (
        Standard(
            "sae_j607",
            "SAE J607",
            "60 °F, 29.92 inHg dry",
            None,
            f"Old practice: it reads some 4 % above SAE J1349 on the same pull. {_COMMON_NOTE}",
        ),
        _j607,
        False,
    ),
    (Standard("iso_1585", "ISO 1585, UN R85", _DRY_REFERENCE, _SPARK_LIMITS, _COMMON_NOTE), _iso_1585, True),
    (
        Standard(
            "din_70020",
            "DIN 70020",
            "20 °C, 1013 hPa",
            None,
            f"Historic; on total pressure, so moisture does not count. {_COMMON_NOTE}",
        ),
        _din_70020,
        False,
    ),
    (
        Standard(
            "jis_d1001",
            "JIS D 1001 (1993)",
            _DRY_REFERENCE,
            None,
            f"Taken to be the same formula as ISO 1585; not checked against its print. {_COMMON_NOTE}",
        ),
        _iso_1585,
        True,
    ),
    (
        Standard("observed", "Observed", "the air as it was", None, "As measured: nothing is corrected."),
        _observed,
        False,
    ),
)

STANDARDS: Mapping[str, Standard] = MappingProxyType({row[0].identifier: row[0] for row in _ROWS})
_FORMULAS = {row[0].identifier: (row[1], row[2]) for row in _ROWS}


def factor(standard: str, air: Air, engine: Engine) -> Factor:
    """The factor that brings power measured in this air to the reference air. ValueError for an unknown standard."""
    if standard not in STANDARDS:
        raise ValueError(f"standard '{standard}' is not known; known are {', '.join(STANDARDS)}")
    chosen = STANDARDS[standard]
    formula, follows_diesel_rule = _FORMULAS[standard]
    if engine.ignition == "compression" and follows_diesel_rule:
        return _compression(chosen, air, engine)
    return _judged(formula(air), chosen.limits, chosen, "")


def _compression(standard: Standard, air: Air, engine: Engine) -> Factor:
    """k = f_a^f_m. Without a fuel figure f_m is the least the rule allows: it corrects least, and the note says so."""
    if engine.fuel_per_litre_cycle_mg is None:
        f_m = 0.3
        said = (
            "Fuel per litre and cycle is not known, so f_m = 0.3, the least, was used: state it for the full factor. "
        )
    else:
        f_m = compression_f_m(engine.fuel_per_litre_cycle_mg)
        said = f"Compression ignition: f_a to the power f_m = {f_m:.3f}. "
    value = compression_f_a(air, engine.aspiration) ** f_m
    judged = _judged(float(value), _COMPRESSION_LIMITS, standard, said, "UN R85")
    if standard.identifier == "iso_1585":
        return judged
    borrowed = f"Compression ignition: the rule and limits of ISO 1585 / UN R85 are used under {standard.title}. "
    return replace(judged, note=borrowed + judged.note)


def _judged(value: float, limits: tuple[float, float] | None, standard: Standard, said: str, whose: str = "") -> Factor:
    """`whose`: who sets the limits, where that is not the standard itself."""
    if limits is None or limits[0] <= value <= limits[1]:
        return Factor(value, True, limits, said + standard.note)
    outside = (
        f"The factor {value:.4f} lies outside {whose or standard.title}'s own limits {limits[0]:g} to {limits[1]:g}: "
        f"{whose or 'the standard'} does not stand behind it. "
    )
    return Factor(value, False, limits, outside + said + standard.note)
