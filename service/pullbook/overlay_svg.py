"""The overlay as the server draws it: an SVG that needs no script, prints, and is what a phone sees first."""

from collections.abc import Callable, Sequence
from html import escape

import numpy as np

from pullbook.axis_ticks import tick_decimals, ticks
from pullbook.difference_panel import compared_panels
from pullbook.late_methods import dataclass
from pullbook.panels import AXIS_WORDS, Line, Panel, axis_title, dash
from pullbook.shop.comparing import Comparison
from pullbook.shop.facts import Floats
from pullbook.shown_units import ShownUnits, plain_number

WIDE = 1040
NARROW = 400
_LEFT, _RIGHT, _TOP, _GAP, _FOOT = 46, 26, 8, 34, 42
_LETTER_HEIGHT = 14
_DRAWN_AFTER = {"low": 0, "high": 0, "single": 0, "asked": 1, "mean": 2}
_Place = Callable[[float], float]


@dataclass(frozen=True)
class _Frame:
    """Where the panels lie on the drawing, in its own units."""

    width: int
    low_rpm: float
    high_rpm: float
    write: Callable[[float, int], str]

    def x(self, speed: float) -> float:
        """The place of a speed."""
        return _LEFT + (speed - self.low_rpm) / (self.high_rpm - self.low_rpm) * (self.width - _LEFT - _RIGHT)


def plot_sides(width: int) -> tuple[int, int, int, int]:
    """Where the plot lies on a drawing: its left and right side, its top from above and its foot from below."""
    return _LEFT, width - _RIGHT, _TOP + 22, _FOOT


def overlay_svg(
    comparison: Comparison,
    units: ShownUnits,
    width: int = WIDE,
    keys: Sequence[str] | None = None,
    described: str = "",
) -> str:
    """The comparison as one `<svg>`: a panel for each quantity, one axis of speed below. Text in it is escaped."""
    panels = compared_panels(comparison, units, keys)
    return compared_svg(comparison, panels, width, described)


def compared_svg(comparison: Comparison, panels: Sequence[Panel], width: int = WIDE, described: str = "") -> str:
    """The same from panels that are made already, with the band marked that is judged."""
    band = comparison.judgement.band_rpm if comparison.judged else None
    said = described or _described(comparison, panels)
    return panels_svg(panels, comparison.engine_speed_rpm, width, said, band)


def panels_svg(
    panels: Sequence[Panel],
    grid_rpm: Floats,
    width: int = WIDE,
    described: str = "",
    band: tuple[float, float] | None = None,
    axis_words: str = "",
    write: Callable[[float, int], str] = plain_number,
) -> str:
    """Panels on one grid of speed as one `<svg>`; an empty string where there is nothing to draw.

    `axis_words`, `write`: what stands beneath the axis and how numbers are written, where not in English.
    """
    if not panels or not len(grid_rpm):
        return ""
    low, high = float(grid_rpm[0]), max(float(grid_rpm[-1]), float(grid_rpm[0]) + 1.0)
    speeds = [speed for speed in ticks(low, high, max(5, width // 110)) if low <= speed <= high]
    frame = _Frame(width, low, high, write)
    parts, top = [], float(_TOP)
    for number, panel in enumerate(panels):
        height = _height(width, number)
        parts.append(_band(band, frame, top + 22, height))
        parts.append(_panel(panel, grid_rpm, frame, speeds, top + 22, height))
        top += 22 + height + (_GAP if number + 1 < len(panels) else 0) - (12 if number + 1 < len(panels) else 0)
    parts.append(_speed_axis(frame, speeds, top, axis_words or axis_title(panels)))
    whole = round(top + _FOOT)
    return (
        f'<svg viewBox="0 0 {width} {whole}" width="{width}" height="{whole}" role="img" '
        f'xmlns="http://www.w3.org/2000/svg"><title>{escape(described)}</title>{"".join(parts)}</svg>'
    )


def _band(band: tuple[float, float] | None, frame: _Frame, top: float, height: int) -> str:
    """The band of speed that is judged, behind a panel."""
    if band is None:
        return ""
    left, right = frame.x(band[0]), frame.x(band[1])
    box = f'<rect class="judged" x="{left:.1f}" y="{top:.0f}" width="{right - left:.1f}" height="{height}"/>'
    return f'{box}<path class="judged-edge" d="M{left:.1f} {top:.0f}v{height}M{right:.1f} {top:.0f}v{height}"/>'


def _height(width: int, number: int) -> int:
    """Power is what people came for; the panels below it are lower."""
    if width >= 700:
        return 230 if number == 0 else 150
    return 210 if number == 0 else 130


def _panel(panel: Panel, grid: Floats, frame: _Frame, speeds: list[float], top: float, height: int) -> str:
    low, high = panel.span
    values = ticks(low, high, 5 if height > 180 else 4)
    scale = height / (values[-1] - values[0])

    def y(value: float) -> float:
        return min(max(top + height - (value - values[0]) * scale, top), top + height)

    right = frame.width - _RIGHT
    places = tick_decimals(values)
    title = f"{escape(panel.title)}, {escape(panel.unit)}{_note(panel)}"
    drawn = [f'<text class="panel-title" x="{_LEFT}" y="{top - 8:.0f}">{title}</text>']
    drawn += [f'<path class="fine" d="M{frame.x(s):.1f} {top:.0f}V{top + height:.0f}"/>' for s in speeds]
    for value in values:
        drawn.append(f'<path class="strong" d="M{_LEFT} {y(value):.1f}H{right}"/>')
        drawn.append(
            f'<text class="tick-label" x="{_LEFT - 6}" y="{y(value) + 4:.1f}" text-anchor="end">'
            f"{frame.write(value, places)}</text>"
        )
    if panel.has_zero:
        drawn.append(f'<path class="edge" d="M{_LEFT} {y(0.0):.1f}H{right}"/>')
    order = sorted(panel.lines, key=lambda line: _DRAWN_AFTER[line.kind])
    drawn += [_interval(low, high, grid, frame, y) for low, high in intervals_of(panel)]
    drawn += [_line(line, grid, frame, y) for line in order]
    drawn += _end_letters(panel, grid, frame, y, top, top + height)
    return "".join(drawn)


def intervals_of(panel: Panel) -> list[tuple[Line, Line]]:
    """Where each interval of a panel begins and ends."""
    lows = [line for line in panel.lines if line.kind == "low"]
    return list(zip(lows, [line for line in panel.lines if line.kind == "high"], strict=True))


def _interval(low: Line, high: Line, grid: Floats, frame: _Frame, y: _Place) -> str:
    """The area between the two, one piece for each stretch that both know."""
    known = np.isfinite(low.values) & np.isfinite(high.values)
    places = np.flatnonzero(known)
    pieces = []
    for piece in np.split(places, np.flatnonzero(np.diff(places) > 1) + 1):
        there = [f"{frame.x(grid[at]):.1f} {y(high.values[at]):.1f}" for at in piece]
        back = [f"{frame.x(grid[at]):.1f} {y(low.values[at]):.1f}" for at in piece[::-1]]
        if there:
            pieces.append(f"M{'L'.join(there + back)}Z")
    return f'<path class="interval setup-{low.style}" d="{"".join(pieces)}"/>'


def _note(panel: Panel) -> str:
    return f'<tspan class="panel-note"> – {escape(panel.note)}</tspan>' if panel.note else ""


def _line(line: Line, grid: Floats, frame: _Frame, y: _Place) -> str:
    path, lifted = [], True
    for speed, value in zip(grid, line.values, strict=True):
        if not np.isfinite(value):
            lifted = True
            continue
        path.append(f"{'M' if lifted else 'L'}{frame.x(speed):.1f} {y(value):.1f}")
        lifted = False
    if not path:
        return ""
    pattern = "3 3" if line.kind == "asked" else dash(line.style)
    dashed = f' stroke-dasharray="{pattern}"' if pattern else ""
    return f'<path class="line {line.kind} setup-{line.style}"{dashed} d="{"".join(path)}"/>'


def _end_letters(panel: Panel, grid: Floats, frame: _Frame, y: _Place, top: float, bottom: float) -> list[str]:
    """Each setup's letter at the end of its line, moved apart where lines end together."""
    wanted = []
    for line in panel.lines:
        known = np.flatnonzero(np.isfinite(line.values))
        if line.kind == "mean" and known.size:
            wanted.append((y(float(line.values[known[-1]])), frame.x(float(grid[known[-1]])), line))
    wanted.sort(key=lambda place: place[0])
    drawn, last = [], -1e9
    for height, across, line in wanted:
        last = max(height, last + _LETTER_HEIGHT, top + 6)
        drawn.append(
            f'<text class="end-letter setup-{line.style}" x="{across + 6:.1f}" y="{min(last, bottom) + 4:.1f}">'
            f"{escape(line.letter)}</text>"
        )
    return drawn


def _speed_axis(frame: _Frame, speeds: list[float], top: float, words: str) -> str:
    labels = [
        f'<text class="tick-label" x="{frame.x(speed):.1f}" y="{top + 16:.0f}" text-anchor="middle">'
        f"{frame.write(speed, 0)}</text>"
        for speed in speeds
    ]
    middle = (_LEFT + frame.width - _RIGHT) / 2
    title = f'<text x="{middle:.0f}" y="{top + 35:.0f}" text-anchor="middle">{escape(words)}</text>'
    return f'<path class="edge" d="M{_LEFT} {top:.0f}H{frame.width - _RIGHT}"/>{"".join(labels)}{title}'


def _described(comparison: Comparison, panels: Sequence[Panel]) -> str:
    shown = ", ".join(panel.title.split(",")[0].lower() for panel in panels)
    names = " and ".join(setup.name for setup in comparison.setups)
    over = AXIS_WORDS[comparison.axis]
    return f"{shown} over {over} for {names}; {comparison.standard_title}. The numbers are in the table."
