"""Conditions of a comparison, as each setup had them: what was not the same may explain a difference by itself."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import field

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.measure.correction import STANDARDS
from pullbook.shop.reading import ReadPull

FACTOR_APART = 0.01  # setups whose mean factors differ by more than this share were run in air that matters
RATIO_APART = 0.02  # another gear, or tyres that slip or grow; less is scatter
WINDOW_APART = 0.2  # of the width: a wider fit rounds off a sharp peak
INTAKE_APART_C = 3.0  # half a per cent of power, where power goes with the root of the absolute temperature
COOLANT_APART_C = 5.0  # common practice: a thermostat keeps it nearer than that


@dataclass(frozen=True, slots=True)
class Condition:
    """Something that could differ, and whether it did."""

    code: str  # vehicle, ticket, cell, calibration, correction, axis, gear, tyre_pressure, fuel, ratio, factor, …
    name: str  # in words: "Tyre pressure"
    values: Mapping[str, str]  # by setup id, in words with units
    differs: bool = True
    means: Mapping[str, float] = field(default_factory=dict)  # by setup id, of what is measured: the number itself


def conditions_of(pulls: Sequence[ReadPull]) -> tuple[Condition, ...]:
    """Every condition of these pulls: those that differ first, the weightiest of them first; then those alike.

    A pull that cannot say, for want of a curve, differs from none; what no pull can say is left out.
    """
    found = [_told(pulls, code, name, say) for code, name, say in _ASKED]
    found += [_measured(pulls, *asked) for asked in _MEASURED]
    known = [one for one in found if one.values]
    return tuple(sorted(known, key=lambda one: not one.differs))


def _told(pulls: Sequence[ReadPull], code: str, name: str, say: Callable[[ReadPull], str | None]) -> Condition:
    """What each pull says in words."""
    values: dict[str, list[str]] = {}
    for pull in pulls:
        said = say(pull)
        if said is None:
            continue
        words = values.setdefault(pull.facts.setup_id, [])
        if said not in words:
            words.append(said)
    different = {word for words in values.values() for word in words}
    return Condition(code, name, {setup: " and ".join(words) for setup, words in values.items()}, len(different) > 1)


def _measured(
    pulls: Sequence[ReadPull],
    code: str,
    name: str,
    tell: Callable[[ReadPull], float | None],
    apart: Callable[[float, float], bool],
    words: str,
) -> Condition:
    """The mean of what each setup's pulls measured."""
    values: dict[str, list[float]] = {}
    for pull in pulls:
        value = tell(pull)
        if value is not None:
            values.setdefault(pull.facts.setup_id, []).append(value)
    means = {setup: sum(of_it) / len(of_it) for setup, of_it in values.items()}
    differs = len(means) > 1 and apart(min(means.values()), max(means.values()))
    said = {setup: words.format(mean) for setup, mean in means.items()}
    return Condition(code, name, said, differs, means)


def _factor(pull: ReadPull) -> float | None:
    return None if pull.curve is None or pull.curve.standard == "observed" else pull.curve.factor


def _ratio(pull: ReadPull) -> float | None:
    return None if pull.curve is None else pull.curve.ratio


def _window(pull: ReadPull) -> float | None:
    return None if pull.curve is None else pull.curve.window_s


def _mean_of(channel: str) -> Callable[[ReadPull], float | None]:
    def tell(pull: ReadPull) -> float | None:
        values = None if pull.curve is None else pull.curve.channels.get(channel)
        if values is None:
            return None
        known = values[np.isfinite(values)]
        return float(known.mean()) if known.size else None

    return tell


def _by_share(share: float) -> Callable[[float, float], bool]:
    return lambda low, high: high - low > share * high


def _by(least: float) -> Callable[[float, float], bool]:
    return lambda low, high: high - low > least


def _calibration(pull: ReadPull) -> str:
    return "none" if pull.calibration is None else f"valid from {pull.calibration.valid_from:%Y-%m-%d %H:%M} UTC"


def _tyre_pressure(pull: ReadPull) -> str:
    pressure = pull.setup.tyre_pressure_kpa
    return "not stated" if pressure is None else f"{pressure:g} kPa"


def _axis(pull: ReadPull) -> str | None:
    return None if pull.curve is None else pull.curve.axis.replace("_", " ")


def _correction(pull: ReadPull) -> str | None:
    return None if pull.curve is None else STANDARDS[pull.curve.standard].title


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
_MEASURED = (
    ("ratio", "Gearing as measured", _ratio, _by_share(RATIO_APART), "{:.2f} engine turns a roller turn"),
    ("factor", "Correction factor", _factor, _by_share(FACTOR_APART), "{:.4f}"),
    ("intake", "Intake air", _mean_of("intake_temperature_c"), _by(INTAKE_APART_C), "{:.0f} °C"),
    ("coolant", "Coolant", _mean_of("coolant_temperature_c"), _by(COOLANT_APART_C), "{:.0f} °C"),
    ("window", "Width of the local fit", _window, _by_share(WINDOW_APART), "{:.2f} s"),
)
