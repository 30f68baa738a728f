"""A pull's mixture for its page: λ under the power curve, its stretches in words, and how late the probe was."""

import numpy as np

from pullbook.errors import FieldProblem, Invalid
from pullbook.late_methods import dataclass
from pullbook.measure.curve import Curve
from pullbook.measure.curveparts import ProbeLag
from pullbook.measure.fuelling import MixtureStretch
from pullbook.measure.mixture import Mixture
from pullbook.overlay_svg import NARROW, WIDE, panels_svg
from pullbook.panels import Line, Panel, letter, style
from pullbook.shop.mixing import LONGEST_LAG_S, SHORTEST_LAG_S, mixture_of
from pullbook.shop.reading import ReadPull
from pullbook.shown_units import ShownUnits, plain_number

STATE_WORDS = {"follows": "follows the command", "richer": "richer than commanded", "leaner": "leaner than commanded"}
_WITHOUT_COMMAND = "leaner than λ 1.00"
_QUALITY = {"good": "found well", "fair": "found fairly well", "weak": "found, but not well"}


@dataclass(frozen=True)
class StretchLine:
    """One stretch of the sweep."""

    state: str
    words: str
    speeds: str
    seconds: str
    measured: str
    commanded: str
    error: str
    worst: str


@dataclass(frozen=True)
class MixtureShown:
    """What the mixture section tells; what to look at first stands among the pull's flags."""

    lines: tuple[StretchLine, ...]
    lag: str
    lag_reason: str
    lag_given: str  # as typed, in s; empty where it is found
    tolerance: str
    notes: tuple[str, ...]
    missing: str
    key: str  # which line is which
    wide_svg: str
    narrow_svg: str


def lag_asked(text: str) -> float | None:
    """The lag that an address gives by hand, in s; None where it gives none. Invalid for what will not do."""
    if not text.strip():
        return None
    would_do = f"seconds, {SHORTEST_LAG_S:g} to {LONGEST_LAG_S:g}, like 0.45"
    try:
        lag_s = float(text.replace(",", "."))
    except ValueError:
        raise Invalid("The lag is no number.", FieldProblem("lag_s", text, would_do)) from None
    if not SHORTEST_LAG_S <= lag_s <= LONGEST_LAG_S:
        raise Invalid("The lag is out of reach.", FieldProblem("lag_s", text, would_do))
    return lag_s


def mixture_shown(pull: ReadPull, units: ShownUnits) -> MixtureShown | None:
    """The section of a pull that has been read; None without a curve over engine speed."""
    mixture, curve = mixture_of(pull), pull.curve
    if mixture is None or curve is None:
        return None
    panels, key = _panels(pull, curve, mixture, units)
    said = f"Power and λ over engine speed for {pull.facts.file_name}; the stretches are in the table"
    lag = mixture.lag
    return MixtureShown(
        lines=tuple(_line(stretch) for stretch in mixture.stretches),
        lag="" if lag is None else _lag_words(lag),
        lag_reason="" if lag is None or lag.quality == "given" else lag.reason or "",
        lag_given=plain_number(lag.lag_s, 2) if lag is not None and lag.quality == "given" else "",
        tolerance=plain_number(mixture.tolerance_lambda, 3),
        notes=mixture.notes,
        missing=mixture.missing or "",
        key=key,
        wide_svg=panels_svg(panels, curve.engine_speed_rpm, WIDE, said) if len(panels) > 1 else "",
        narrow_svg=panels_svg(panels, curve.engine_speed_rpm, NARROW, said) if len(panels) > 1 else "",
    )


def _lag_words(lag: ProbeLag) -> str:
    late, within = plain_number(lag.lag_s, 3), plain_number(2.0 * lag.u_s, 3)
    if lag.found and lag.delay_s is not None and lag.time_constant_s is not None:
        parts = f"{plain_number(lag.delay_s, 2)} s on its way, {plain_number(lag.time_constant_s, 2)} s in the probe"
        return f"Measured λ came {late} s late (± {within} s, k = 2; {_QUALITY[lag.quality]}): about {parts}."
    if lag.quality == "given":
        return f"Measured λ is taken to come {late} s late, as given by hand."
    return f"Measured λ is taken to come {late} s late (± {within} s, k = 2), which is usual; it was not found here."


def _line(stretch: MixtureStretch) -> StretchLine:
    commanded = stretch.mean_commanded
    return StretchLine(
        state=stretch.state,
        words=_WITHOUT_COMMAND if commanded is None else STATE_WORDS[stretch.state],
        speeds=f"{plain_number(stretch.from_rpm)} to {plain_number(stretch.to_rpm)}",
        seconds=f"{plain_number(stretch.from_s, 1)} to {plain_number(stretch.to_s, 1)}",
        measured=plain_number(stretch.mean_measured, 3),
        commanded="–" if commanded is None else plain_number(commanded, 3),
        error=_signed(stretch.mean_error),
        worst=f"{_signed(stretch.worst_error)} at {plain_number(stretch.worst_at_rpm)}",
    )


def _signed(value: float) -> str:
    sign = "+" if value > 0.0 else "−" if value < 0.0 else ""
    return f"{sign}{plain_number(abs(value), 3)}"


def _panels(pull: ReadPull, curve: Curve, mixture: Mixture, units: ShownUnits) -> tuple[tuple[Panel, ...], str]:
    """Power, and λ beneath it on the same axis, with what counts as following the command around it; and the key."""
    mark, shape = letter(pull.facts.setup_position), style(pull.facts.setup_position)
    power = Line(mark, shape, "mean", "corrected", units.values(curve.power_w, "power"), pull.facts.id)
    top = Panel("power", "Power at the wheels", units.label("power"), units.decimals("power"), (power,))
    measured, commanded = (curve.channels.get(name) for name in ("lambda_measured", "lambda_commanded"))
    lines, words = [], []
    if measured is not None and np.isfinite(measured).any():
        lines.append(Line(mark, shape, "mean", "measured", measured, pull.facts.id))
        words.append("Bold: λ measured, moved back by its lag")
    if commanded is not None and np.isfinite(commanded).any():
        lines.append(Line(mark, shape, "asked", "commanded", commanded, pull.facts.id))
        words.append("short dashes: λ commanded")
    place = curve.in_place
    if len(lines) > 1 and place is not None and place.least is not None and place.most is not None:
        within = mixture.tolerance_lambda
        lines.append(Line(mark, shape, "low", "least that follows", place.least - within, pull.facts.id))
        lines.append(Line(mark, shape, "high", "most that follows", place.most + within, pull.facts.id))
        words.append("shaded: what counts as following it")
    if not lines:
        return (top,), ""
    return (top, Panel("mixture", "Mixture", "λ", 3, tuple(lines))), f"{'; '.join(words)}."
