"""Conditions of a comparison: whatever was not the same throughout, since it may explain a difference by itself."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from pullbook.shop.reading import ReadPull

FACTOR_APART = 0.01  # setups whose mean factors differ by more than this share were run in air that matters
RATIO_APART = 0.02  # another gear, or tyres that slip or grow; less is scatter


@dataclass(frozen=True, slots=True)
class Condition:
    """Something that was not the same throughout."""

    code: str  # vehicle, ticket, cell, calibration, gear, ratio, tyre_pressure, fuel, axis, correction, factor
    name: str  # in words: "Tyre pressure"
    values: Mapping[str, str]  # by setup id, in words with units


def conditions_of(pulls: Sequence[ReadPull]) -> tuple[Condition, ...]:
    """Every condition that differs among these pulls, the weightiest first.

    A pull that cannot say, for want of a curve, differs from none.
    """
    found = []
    for code, name, say in _ASKED:
        values: dict[str, list[str]] = {}
        for pull in pulls:
            said = say(pull)
            if said is None:
                continue
            words = values.setdefault(pull.facts.setup_id, [])
            if said not in words:
                words.append(said)
        if len({word for words in values.values() for word in words}) > 1:
            found.append(Condition(code, name, {setup: " and ".join(words) for setup, words in values.items()}))
    ratios = _means(pulls, lambda pull: pull.curve.ratio if pull.curve is not None else None)
    if _apart(ratios, RATIO_APART):
        told = {setup: f"{mean:.2f} engine turns a roller turn" for setup, mean in ratios.items()}
        found.append(Condition("ratio", "Gearing as measured", told))
    factors = _means(pulls, _factor)
    if _apart(factors, FACTOR_APART):
        told = {setup: f"{mean:.4f}" for setup, mean in factors.items()}
        found.append(Condition("factor", "Correction factor", told))
    return tuple(found)


def _factor(pull: ReadPull) -> float | None:
    return None if pull.curve is None or pull.curve.standard == "observed" else pull.curve.factor


def _means(pulls: Sequence[ReadPull], told: Callable[[ReadPull], float | None]) -> dict[str, float]:
    values: dict[str, list[float]] = {}
    for pull in pulls:
        value = told(pull)
        if value is not None:
            values.setdefault(pull.facts.setup_id, []).append(value)
    return {setup: sum(of_it) / len(of_it) for setup, of_it in values.items()}


def _apart(means: Mapping[str, float], share: float) -> bool:
    return len(means) > 1 and max(means.values()) - min(means.values()) > share * max(means.values())


def _calibration(pull: ReadPull) -> str:
    return "none" if pull.calibration is None else f"valid from {pull.calibration.valid_from:%Y-%m-%d %H:%M} UTC"


def _tyre_pressure(pull: ReadPull) -> str:
    pressure = pull.setup.tyre_pressure_kpa
    return "not stated" if pressure is None else f"{pressure:g} kPa"


def _axis(pull: ReadPull) -> str | None:
    return None if pull.curve is None else pull.curve.axis.replace("_", " ")


def _correction(pull: ReadPull) -> str | None:
    return None if pull.curve is None else pull.curve.standard


_ASKED: tuple[tuple[str, str, Callable[[ReadPull], str | None]], ...] = (
    ("vehicle", "Vehicle", lambda pull: pull.ticket.vehicle.title),
    ("ticket", "Ticket", lambda pull: str(pull.ticket.number)),
    ("cell", "Cell", lambda pull: pull.cell.name),
    ("calibration", "Calibration", _calibration),
    ("correction", "Correction", _correction),
    ("axis", "Axis", _axis),
    ("gear", "Gear", lambda pull: pull.setup.gear or "not stated"),
    ("tyre_pressure", "Tyre pressure", _tyre_pressure),
    ("fuel", "Fuel", lambda pull: pull.setup.fuel or pull.ticket.vehicle.fuel),
)
