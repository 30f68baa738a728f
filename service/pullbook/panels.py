"""What a drawing of pulls consists of, before anybody draws it: stacked panels on one axis of speed.

Both drawings are made from this, the server's SVG and the browser's figure, so they cannot tell different stories.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.shop.comparing import Comparison, SetupRead
from pullbook.shop.facts import Floats, OnGrid
from pullbook.shop.reading import ReadPull
from pullbook.shown_units import CHOICES, ShownUnits

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
# One dash for each letter, in units of line width's neighbourhood; a colour never speaks alone.
DASHES = ("", "9 4", "2 4", "9 4 2 4", "14 5", "9 4 2 4 2 4")
SETUP_CLASSES = ("a", "b", "c", "d", "e", "f")
AXIS_WORDS = {"engine_speed": "engine speed", "roller_speed": "roller speed", "time": "time of the pull"}
# without an engine speed a torque can only be the rollers' own
_TORQUE_TITLES = {
    "engine_speed": "Torque, referred to engine speed",
    "roller_speed": "Torque at the rollers, engine speed not known",
}
_CUT_PCT = 6.0  # of an interval's points, at either end of their values
_PRESSURES = ("manifold_pressure_kpa", "manifold_gauge_kpa")


@dataclass(frozen=True)
class Line:
    """One line of a panel. `values` are in the panel's unit, NaN where there is none."""

    letter: str
    style: str  # which of the six colours and dashes: a…f
    kind: str  # mean, single, asked; low and high bound an interval
    label: str
    values: Floats
    pull_id: str | None = None


@dataclass(frozen=True)
class Panel:
    """One quantity over engine speed, or over roller speed where no engine speed is known."""

    key: str
    title: str
    unit: str
    decimals: int
    lines: tuple[Line, ...]
    note: str = ""  # which of a single pull's lines is which
    axis: str = "engine_speed"
    has_zero: bool = False  # nothing more and nothing less is in sight, and marked

    @property
    def span(self) -> tuple[float, float]:
        """Least and greatest value of all lines; an interval that opens wide at the very ends is cut there."""
        found = [line.values[np.isfinite(line.values)] for line in self.lines if line.kind not in ("low", "high")]
        for line in self.lines:
            if line.kind in ("low", "high") and np.isfinite(line.values).any():
                found.append(np.nanpercentile(line.values, [_CUT_PCT, 100.0 - _CUT_PCT]))
        if self.has_zero or not any(values.size for values in found):
            found.append(np.zeros(1))
        known = np.concatenate(found)
        return float(known.min()), float(known.max())


def letter(position: int) -> str:
    """The letter of a setup by its place in the ticket: A is the baseline."""
    return LETTERS[position % len(LETTERS)]


def style(position: int) -> str:
    """Which of the six colours and dashes a setup has."""
    return SETUP_CLASSES[position % len(SETUP_CLASSES)]


def dash(style_letter: str) -> str:
    """The dash that goes with a style, as SVG writes it; empty for a whole line."""
    return DASHES[SETUP_CLASSES.index(style_letter)]


def axis_title(panels: Sequence[Panel]) -> str:
    """What stands beneath the axis that these panels share, with its unit."""
    axis = panels[0].axis if panels else "engine_speed"
    return f"{AXIS_WORDS[axis].capitalize()}, {'s' if axis == 'time' else 'rev/min'}"


def drawn_pulls(comparison: Comparison, setup: SetupRead) -> tuple[tuple[str, ReadPull], ...]:
    """The standing pulls of a setup that lie on the comparison's axis, by the names their lines have."""
    mark = letter(setup.place)
    numbered = enumerate(setup.standing, start=1)
    return tuple((f"{mark}{number}", pull) for number, pull in numbered if _on_axis(comparison, pull))


def not_drawn(comparison: Comparison) -> str:
    """Which standing pulls lie on another axis than the comparison's, and why that is; empty where none does."""
    left = [
        f"{letter(setup.place)} “{pull.facts.file_name}”"
        for setup in comparison.setups
        for pull in setup.standing
        if not _on_axis(comparison, pull)
    ]
    if not left:
        return ""
    if comparison.axis == "engine_speed":
        why = "only roller speed is known, so they do not lie on the engine-speed axis"
    else:
        why = "they are over engine speed, and every pull that counts is over roller speed"
    return f"Not drawn, because {why}: {', '.join(left)}."


def _on_axis(comparison: Comparison, pull: ReadPull) -> bool:
    return pull.curve is not None and pull.curve.axis == comparison.axis


def panels_of(comparison: Comparison, units: ShownUnits, keys: Iterable[str] | None = None) -> tuple[Panel, ...]:
    """Power, torque, λ and manifold pressure of a comparison: those that its pulls have, top to bottom."""
    grid = comparison.engine_speed_rpm
    curves = {pull.facts.id: pull.on_grid(grid) for setup in comparison.setups for pull in setup.standing}
    laid = _Laid(comparison, units, curves, np.full(grid.shape, np.nan))
    makers: dict[str, Callable[[], Panel]] = {
        "power": laid.power,
        "torque": laid.torque,
        "mixture": laid.mixture,
        "pressure": laid.pressure,
    }
    made = (makers[key]() for key in keys or makers)
    return tuple(replace(panel, axis=comparison.axis) for panel in made if _has_values(panel))


def _has_values(panel: Panel) -> bool:
    return any(np.isfinite(line.values).any() for line in panel.lines)


@dataclass(frozen=True)
class _Laid:
    """A comparison with every curve laid on its grid once, for all panels."""

    comparison: Comparison
    units: ShownUnits
    curves: Mapping[str, OnGrid]
    missing: Floats

    def power(self) -> Panel:
        def read(curve: OnGrid) -> Floats:
            return self.units.values(curve.power_w, "power")

        unit, decimals = self.units.label("power"), self.units.decimals("power")
        return Panel("power", "Power at the wheels", unit, decimals, self.lines(read))

    def torque(self) -> Panel:
        def read(curve: OnGrid) -> Floats:
            return self.units.values(curve.torque_nm, "torque")

        unit, decimals = self.units.label("torque"), self.units.decimals("torque")
        return Panel("torque", _TORQUE_TITLES[self.comparison.axis], unit, decimals, self.lines(read))

    def mixture(self) -> Panel:
        measured = self.lines(lambda curve: curve.channels.get("lambda_measured", self.missing))
        asked = tuple(
            Line(
                letter(setup.place),
                style(setup.place),
                "asked",
                f"{letter(setup.place)} commanded",
                setup.mean.channels["lambda_commanded"],
            )
            for setup in self.comparison.setups
            if setup.mean is not None and "lambda_commanded" in setup.mean.channels
        )
        return Panel("mixture", "Mixture", "λ", 3, (*measured, *asked))

    def pressure(self) -> Panel:
        """Absolute where any setup has it, else gauge; the title says which."""
        means = [setup.mean for setup in self.comparison.setups if setup.mean is not None]
        name = next((name for name in _PRESSURES if any(name in mean.channels for mean in means)), _PRESSURES[0])
        title = "Manifold pressure, absolute" if name == _PRESSURES[0] else "Manifold pressure, above the air outside"

        def read(curve: OnGrid) -> Floats:
            return self.units.values(curve.channels.get(name, self.missing), "pressure")

        unit, decimals = self.units.label("pressure"), self.units.decimals("pressure")
        return Panel("pressure", title, unit, decimals, self.lines(read))

    def lines(self, read: Callable[[OnGrid], Floats]) -> tuple[Line, ...]:
        """For each setup its single pulls, thin, then their mean, bold. One pull alone is its own mean."""
        return tuple(line for setup in self.comparison.setups for line in self.of_setup(setup, read))

    def of_setup(self, setup: SetupRead, read: Callable[[OnGrid], Floats]) -> list[Line]:
        mark, shape = letter(setup.place), style(setup.place)
        lines = []
        if setup.counted > 1:
            for name, pull in drawn_pulls(self.comparison, setup):
                lines.append(Line(mark, shape, "single", name, read(self.curves[pull.facts.id]), pull.facts.id))
        if setup.mean is not None:
            lines.append(Line(mark, shape, "mean", f"{mark} {setup.called}", read(setup.mean)))
        return lines


def one_pull(pull: ReadPull, grid: Floats, units: ShownUnits) -> tuple[Panel, ...]:
    """One pull in depth: the same panels, and its temperatures and ignition where the file has them."""
    if pull.curve is None:
        return ()
    curve = pull.on_grid(grid)
    mark, shape = letter(pull.facts.setup_position), style(pull.facts.setup_position)

    def line(values: Floats, label: str, kind: str = "mean") -> Line:
        return Line(mark, shape, kind, label, values, pull.facts.id)

    power = [line(units.values(curve.power_w, "power"), "corrected")]
    if pull.curve.standard != "observed":
        power.append(line(units.values(curve.observed_power_w, "power"), "observed", "asked"))
    made = [
        Panel("power", "Power at the wheels", units.label("power"), units.decimals("power"), tuple(power)),
        Panel(
            "torque",
            _TORQUE_TITLES[pull.curve.axis],
            units.label("torque"),
            units.decimals("torque"),
            (line(units.values(curve.torque_nm, "torque"), "corrected"),),
        ),
    ]
    made.extend(_channel_panels(curve, units, line))
    return tuple(replace(_noted(panel), axis=pull.curve.axis) for panel in made if _has_values(panel))


def _noted(panel: Panel) -> Panel:
    """A single pull's lines share a letter, so its panels say which line is which."""
    if len(panel.lines) < 2:
        return panel
    return replace(panel, note=f"bold: {panel.lines[0].label}; short dashes: {panel.lines[1].label}")


# a single pull's further panels: key, title, unit or the dimension the shop has one for, decimals, channels with words
_FURTHER: tuple[tuple[str, str, str, int, tuple[tuple[str, str, str], ...]], ...] = (
    (
        "mixture",
        "Mixture",
        "λ",
        3,
        (("lambda_measured", "measured", "mean"), ("lambda_commanded", "commanded", "asked")),
    ),
    (
        "pressure",
        "Manifold pressure",
        "pressure",
        0,
        (("manifold_pressure_kpa", "absolute", "mean"), ("boost_target_kpa", "target", "asked")),
    ),
    (
        "temperature",
        "Temperatures",
        "temperature",
        1,
        (("intake_temperature_c", "intake air", "mean"), ("coolant_temperature_c", "coolant", "asked")),
    ),
    (
        "ignition",
        "Ignition",
        "°",
        1,
        (("ignition_advance_deg", "advance", "mean"), ("knock_retard_deg", "knock retard", "asked")),
    ),
)


def _channel_panels(curve: OnGrid, units: ShownUnits, line: Callable[..., Line]) -> list[Panel]:
    made = []
    for key, title, unit, decimals, channels in _FURTHER:
        lines = []
        for name, label, kind in channels:
            values = curve.channels.get(name)
            if values is not None:
                lines.append(line(units.values(values, unit) if unit in CHOICES else values, label, kind))
        if lines:
            shown = (units.label(unit), units.decimals(unit)) if unit in CHOICES else (unit, decimals)
            made.append(Panel(key, title, *shown, tuple(lines)))
    return made
