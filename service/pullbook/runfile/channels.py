"""What the headings of a file say by themselves, and what has to be asked of a person."""

import re
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pullbook.late_methods import dataclass
from pullbook.measure.glossary import CHANNELS
from pullbook.runfile.channel_map import (
    QUANTITIES,
    QUANTITY_TITLES,
    ROLLER_QUANTITIES,
    ChannelChoice,
    ChannelMapError,
    apply_map,
    channels_from,
    check_map,
    columns_needed,
)
from pullbook.runfile.delimited import Header
from pullbook.runfile.quantity_words import (
    ABSOLUTE,
    ANY_FORCE,
    ANY_PULSES,
    ANY_SPEED,
    ANY_TORQUE,
    GAUGE,
    PER_SAMPLE,
    RUNNING,
    TARGET,
    TIME_OF_DAY,
    fold,
    quantities_of,
)
from pullbook.runfile.unit_words import UnitWord, read_unit, split_heading

__all__ = [
    "QUANTITIES",
    "QUANTITY_TITLES",
    "ChannelChoice",
    "ChannelMapError",
    "Header",
    "Recognised",
    "apply_map",
    "channels_from",
    "check_map",
    "columns_needed",
    "recognise",
]

# of these a half-understood column is asked about; of any other it is merely left unmapped
_ASKED = ("time_s", "roller", "engine_speed_rpm", "brake_torque_nm", "brake_force_n", "throttle_pct", "manifold")
_FUELS = (
    (r"petrol|gasoline|benzin|essence|gasolina|super", "afr_petrol"),
    (r"e10", "afr_e10"),
    (r"e85", "afr_e85"),
    (r"ethanol|e100|etanol", "afr_ethanol"),
    (r"methanol|m100|metanol", "afr_methanol"),
    (r"diesel|gazole|gasoleo", "afr_diesel"),
    (r"lpg|autogas|gpl|glp|propane?", "afr_lpg"),
    (r"cng|gnc|erdgas|methane?", "afr_cng"),
)
_RPM = re.compile(r"\b(rpm|upm|tr min)\b")
_LARGEST_LAMBDA = 3.0  # no engine burns so lean; an air–fuel ratio is always above it
_LARGEST_STEP_S = 2.0


@dataclass(frozen=True)
class Recognised:
    """What the headings say by themselves. `questions` non-empty: a person must make or choose a channel map."""

    choices: tuple[ChannelChoice, ...]
    questions: tuple[str, ...]


@dataclass(frozen=True)
class _Column:
    """One column's heading, taken apart: its folded name, the same with the unit's words, and the unit if known."""

    header: Header
    name: str
    full: str
    unit: UnitWord | None
    values: NDArray[np.float64]

    @property
    def shown(self) -> str:
        return f"Column '{self.header.text}'"

    def unit_of(self, quantity: str) -> str | None:
        """The unit, if the quantity comes in it."""
        known = self.unit is not None and self.unit.identifier in QUANTITIES[quantity]
        return self.unit.identifier if known and self.unit is not None else None


def recognise(headers: Sequence[Header], values: NDArray[np.float64], needs_roller: bool = True) -> Recognised:
    """Read the headings. `values` (columns, rows) serves only to doubt, never to decide. A file that is read beside a
    pull needs no roller speed, and a bare 'speed' in it is not asked about."""
    columns = [
        _taken_apart(header, column)
        for header, column in zip(headers, values, strict=True)
        if np.isfinite(column).any()  # a column without one number says nothing, whatever its heading
    ]
    told: list[tuple[_Column, str, str]] = []
    questions: list[str] = []
    clocks: list[str] = []
    loose: list[_Column] = []
    for column in columns:
        own = CHANNELS.get(column.header.text.strip().lower())
        fitting = quantities_of(column.name) or quantities_of(column.full)
        if own is not None:  # a heading that is a channel's own name here means that channel, in its own unit
            told.append((column, own.identifier, own.inside_unit))
        elif len(fitting) > 1:
            could = " or ".join(QUANTITY_TITLES.get(one, one) for one in fitting)
            questions.append(f"{column.shown} could be {could}: which is it?")
        elif not fitting:
            loose.append(column)
        else:
            answer = _as_quantity(column, fitting[0])
            if isinstance(answer, str):
                (clocks if TIME_OF_DAY.search(column.full) else questions).append(answer)
            elif answer is not None:
                told.append((column, *answer))
    if not any(quantity == "time_s" for _, quantity, _ in told):
        questions += clocks
    _add_loose(loose, told, questions, needs_roller)
    told = _without_spare_clock(told)
    questions += _twice(told) + _missing(told, needs_roller)
    doubled = {quantity for _, quantity, _ in told if sum(other == quantity for _, other, _ in told) > 1}
    place = {id(column): number for number, column in enumerate(columns)}
    told.sort(key=lambda one: place[id(one[0])])
    choices = (ChannelChoice(one.header.text, name, unit) for one, name, unit in told if name not in doubled)
    return Recognised(tuple(choices), tuple(questions))


def _taken_apart(header: Header, values: NDArray[np.float64]) -> _Column:
    name, ending = split_heading(header.text)
    full = header.text if ending else f"{header.text} {header.unit_text}"
    unit = read_unit(header.unit_text) if header.unit_text else read_unit(header.text)
    folded = fold(full)
    if unit is None and not header.unit_text and _RPM.search(folded):
        unit = UnitWord("rev_min")
    return _Column(header, fold(name), folded, unit, values)


def _as_quantity(column: _Column, quantity: str) -> tuple[str, str] | str | None:
    """(quantity, unit), or a question, or None where the column is better left alone."""
    if quantity == "lambda":
        return _as_mixture(column)
    if quantity == "roller_pulses":
        return _as_pulses(column)
    if quantity == "manifold":
        return _as_manifold(column)
    options = ("roller_speed_rad_s", "roller_surface_speed_m_s") if quantity == "roller" else (quantity,)
    for option in options:
        unit = column.unit_of(option)
        if unit is not None:
            return _DOUBTS[option](column, unit) if option in _DOUBTS else (option, unit)
    return _unit_question(column, options) if quantity in _ASKED else None


def _unit_question(column: _Column, options: tuple[str, ...]) -> str:
    title = QUANTITY_TITLES[options[0]]
    would_do = ", ".join(unit for option in options for unit in QUANTITIES[option])
    if column.header.unit_text:
        return (
            f"{column.shown} looks like {title}, but '{column.header.unit_text}' is no unit of it; known: {would_do}."
        )
    return f"{column.shown} looks like {title}, but states no unit; known: {would_do}."


def _doubted_time(column: _Column, unit: str) -> tuple[str, str] | str:
    scale = {"s": 1.0, "ms": 1e-3, "min": 60.0}[unit]
    given = column.values[np.isfinite(column.values)]
    if given.size < 2:
        return "time_s", unit
    step_s = float(np.median(np.diff(given))) * scale
    if step_s < 0:
        return f"{column.shown} looks like the time but runs backward: is it?"
    if step_s > _LARGEST_STEP_S:
        return f"{column.shown} would leave {step_s:g} s between samples: is '{unit}' its unit?"
    return "time_s", unit


def _doubted_throttle(column: _Column, unit: str) -> tuple[str, str] | str:
    largest = float(np.nanmax(column.values))
    if unit == "pct" and 0 < largest <= 1:
        return f"{column.shown} never passes {largest:g} %: is it a fraction of 1?"
    return "throttle_pct", unit


_DOUBTS = {"time_s": _doubted_time, "throttle_pct": _doubted_throttle}


def _as_mixture(column: _Column) -> tuple[str, str] | str:
    quantity = "lambda_commanded" if TARGET.search(column.full) else "lambda_measured"
    given = column.values[np.isfinite(column.values)]
    median = float(np.median(given)) if given.size else float("nan")
    if not re.search(r"\b(afr|fuel|kraftstoff)\b", column.full):
        if median > _LARGEST_LAMBDA:
            doubt = f"{column.shown} is called λ, but its values lie about {median:.3g}"
            return f"{doubt}: is it an air–fuel ratio, and of which fuel?"
        return quantity, "lambda"
    if median < _LARGEST_LAMBDA:
        return f"{column.shown} is called an air–fuel ratio, but its values lie about {median:.3g}: is it λ?"
    fuels = {unit for words, unit in _FUELS if re.search(rf"\b({words})\b", column.full)}
    if len(fuels) != 1:
        return f"{column.shown} is an air–fuel ratio: of which fuel? The ratio at λ = 1 depends on it."
    return quantity, fuels.pop()


def _as_pulses(column: _Column) -> tuple[str, str] | str:
    running, each = RUNNING.search(column.full) is not None, PER_SAMPLE.search(column.full) is not None
    if running == each:
        return f"{column.shown} counts roller pulses: a running count, or the pulses in each sample?"
    if running and bool((np.diff(column.values[np.isfinite(column.values)]) < 0).any()):
        return f"{column.shown} is called a running count but falls: does the counter start over, or is it per sample?"
    return ("roller_pulses" if running else "roller_pulse_increments"), "count"


def _as_manifold(column: _Column) -> tuple[str, str] | str:
    unit = column.unit_of("manifold_pressure_kpa")
    if unit is None:
        return _unit_question(column, ("manifold_pressure_kpa",))
    reference = column.unit.reference if column.unit is not None else ""
    absolute = reference == "absolute" or ABSOLUTE.search(column.full) is not None
    gauge = reference == "gauge" or GAUGE.search(column.full) is not None
    if absolute == gauge:
        return (
            f"{column.shown} is a manifold pressure: absolute (about 100 kPa with the engine off) or gauge (about 0)?"
        )
    return ("manifold_pressure_kpa" if absolute else "manifold_gauge_kpa"), unit


def _add_loose(
    loose: list[_Column], told: list[tuple[_Column, str, str]], questions: list[str], needs_roller: bool
) -> None:
    """Headings of one bare word, 'speed' or 'torque': taken only where no other meaning is left, else asked about."""
    known = {quantity for _, quantity, _ in told}
    has_roller = bool(known.intersection(ROLLER_QUANTITIES)) or not needs_roller
    speeds = [column for column in loose if ANY_SPEED.fullmatch(column.name)]
    turning = [column for column in speeds if column.unit_of("engine_speed_rpm") is not None]
    if has_roller and "engine_speed_rpm" not in known and len(turning) == 1:
        unit = turning[0].unit_of("engine_speed_rpm")
        told.append((turning[0], "engine_speed_rpm", unit or "rev_min"))
    elif has_roller and "engine_speed_rpm" not in known and turning:
        names = " and ".join(f"'{column.header.text}'" for column in turning)
        questions.append(f"Columns {names} could both be engine speed: which is?")
    elif not has_roller:
        for column in speeds:
            could = "engine or roller speed" if column in turning else "roller or vehicle speed"
            unit = "" if column.unit is not None else ", and states no unit"
            questions.append(f"{column.shown} could be {could}{unit}: which is it?")
    if needs_roller and not known.intersection(("brake_torque_nm", "brake_force_n")):
        for column in loose:
            if ANY_TORQUE.fullmatch(column.name):
                questions.append(f"{column.shown}: is it the brake's torque at the roller, or another torque?")
            elif ANY_FORCE.fullmatch(column.name):
                questions.append(f"{column.shown}: is it the force on the brake's load cell, or another force?")
    if not has_roller:
        counts = [column for column in loose if ANY_PULSES.fullmatch(column.name)]
        questions.extend(f"{column.shown}: does it count pulses of the roller?" for column in counts)


def _without_spare_clock(told: list[tuple[_Column, str, str]]) -> list[tuple[_Column, str, str]]:
    """A time of day beside an elapsed time says the same again and is left unmapped."""
    times = [one for one in told if one[1] == "time_s"]
    plain = [one for one in times if not TIME_OF_DAY.search(one[0].full)]
    if len(times) < 2 or len(plain) != 1:
        return told
    return [one for one in told if one[1] != "time_s" or one is plain[0]]


def _twice(told: list[tuple[_Column, str, str]]) -> list[str]:
    names: dict[str, list[str]] = {}
    for column, quantity, _ in told:
        names.setdefault(quantity, []).append(f"'{column.header.text}'")
    return [
        f"Columns {' and '.join(which)} could each be {QUANTITY_TITLES[quantity]}: which is to be used?"
        for quantity, which in names.items()
        if len(which) > 1
    ]


def _missing(told: list[tuple[_Column, str, str]], needs_roller: bool) -> list[str]:
    known = {quantity for _, quantity, _ in told}
    missing = []
    if "time_s" not in known:
        missing.append("No column is certain to be the time: which is it, and in which unit?")
    if needs_roller and not known.intersection(ROLLER_QUANTITIES):
        missing.append("No column is certain to be roller speed: which is it, and in which unit?")
    return missing
