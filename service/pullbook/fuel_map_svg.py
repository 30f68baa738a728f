"""The fuel map as the server draws it: an SVG of cells, the number in each. Colour repeats what the number says.

Engine speed to the right, load upwards. The colours are classes: blue for richer, vermillion for leaner than wanted (of
the set of Okabe and Ito, which the setups' colours are of), mixed into the paper so far that ink on them can be read.
"""

from html import escape
from math import isfinite

from pullbook.measure.fuelmap import FuelMap
from pullbook.shown_units import plain_number

SHOWN = {"multiplier": "fuel multiplier", "lambda_error": "λ measured less wanted", "time": "seconds in the cell"}
STEPS = (0.01, 0.025, 0.05, 0.10)  # how far from as wanted each deeper colour begins
_CELL_WIDTH, _CELL_HEIGHT = 66, 44
_LEFT, _TOP, _FOOT, _RIGHT = 78, 14, 48, 16


def heat_svg(made: FuelMap, show: str, load_title: str) -> str:
    """One `<svg>`. `show`: one of SHOWN; `load_title`: with its unit. Text in it is escaped; it keeps its own size, so
    let it scroll."""
    loads, speeds = made.cells.shape
    width, height = _LEFT + speeds * _CELL_WIDTH + _RIGHT, _TOP + loads * _CELL_HEIGHT + _FOOT
    most_s = float(made.time_s.max()) if made.time_s.size else 0.0
    parts = []
    for load in range(loads):
        top = _TOP + (loads - 1 - load) * _CELL_HEIGHT
        parts += [_cell(made, show, load, speed, _LEFT + speed * _CELL_WIDTH, top, most_s) for speed in range(speeds)]
    parts += _speed_axis(made, _TOP + loads * _CELL_HEIGHT, width)
    parts += _load_axis(made, load_title, loads)
    said = escape(f"Fuel map: {SHOWN[show]} in each cell; the same numbers are in the table")
    return (
        f'<svg class="heat" viewBox="0 0 {width} {height}" width="{width}" height="{height}" role="img" '
        f'xmlns="http://www.w3.org/2000/svg"><title>{said}</title>{"".join(parts)}</svg>'
    )


def step_of(away: float) -> int:
    """How deep a colour so far from as wanted has, 0 to 4, leaner above zero and richer below."""
    depth = sum(abs(away) >= step for step in STEPS)
    return depth if away > 0 else -depth


def cell_words(made: FuelMap, show: str, load: int, speed: int) -> tuple[str, str]:
    """What stands in a cell: its number, and in small below how sure it is or how long it took; empty where blank."""
    time = float(made.time_s[load, speed])
    if show == "time":
        return (plain_number(time, 1), "") if time > 0.0 else ("", "")
    value = float(made.multiplier[load, speed])
    if not isfinite(value):
        return "", f"{plain_number(time, 1)} s" if time >= 0.05 else ""
    u = float(made.multiplier_u[load, speed])
    below = "± ?" if not isfinite(u) else f"±{plain_number(u, 3)}" if u >= 0.0005 else "±<0.001"
    if show == "multiplier":
        return plain_number(value, 3), below
    return f"{float(made.lambda_error[load, speed]):+.3f}".replace("-", "−"), below


def _cell(made: FuelMap, show: str, load: int, speed: int, left: float, top: float, most_s: float) -> str:
    number, below = cell_words(made, show, load, speed)
    middle = left + 0.5 * _CELL_WIDTH
    line = top + (20 if below else 27)
    text = f'<text x="{middle:g}" y="{line:g}" class="heat-number">{number}</text>' if number else ""
    if below:
        text += f'<text x="{middle:g}" y="{top + 36:g}" class="heat-small">{escape(below)}</text>'
    return (
        f'<rect x="{left:g}" y="{top:g}" width="{_CELL_WIDTH}" height="{_CELL_HEIGHT}" '
        f'class="{_class(made, show, load, speed, most_s)}"/>{text}'
    )


def _class(made: FuelMap, show: str, load: int, speed: int, most_s: float) -> str:
    if show == "time":
        share = float(made.time_s[load, speed]) / most_s if most_s else 0.0
        return f"heat-time-{min(4, int(share * 4.0) + 1)}" if share > 0.0 else "heat-blank"
    value = float(made.multiplier[load, speed])
    if not isfinite(value):
        return "heat-blank"
    step = step_of(value - 1.0)
    return f"heat-lean-{step}" if step > 0 else f"heat-rich-{-step}" if step < 0 else "heat-even"


def _speed_axis(made: FuelMap, bottom: float, width: float) -> list[str]:
    labels = [
        f'<text x="{_LEFT + place * _CELL_WIDTH:g}" y="{bottom + 17:g}" class="heat-edge">{plain_number(edge)}</text>'
        for place, edge in enumerate(made.cells.speed_edges_rpm)
    ]
    middle = (_LEFT + width - _RIGHT) / 2
    return [*labels, f'<text x="{middle:g}" y="{bottom + 38:g}" class="heat-title">Engine speed, rev/min</text>']


def _load_axis(made: FuelMap, load_title: str, loads: int) -> list[str]:
    labels = [
        f'<text x="{_LEFT - 6}" y="{_TOP + (loads - place) * _CELL_HEIGHT + 4:g}" class="heat-edge heat-left">'
        f"{plain_number(edge, 0 if edge == round(edge) else 1)}</text>"
        for place, edge in enumerate(made.cells.load_edges)
    ]
    middle = _TOP + 0.5 * loads * _CELL_HEIGHT
    title = (
        f'<text x="16" y="{middle:g}" transform="rotate(-90 16 {middle:g})" class="heat-title">'
        f"{escape(load_title)}</text>"
    )
    return [*labels, title]
