"""The overlay as a figure that the browser's chart library draws: plain lists and dicts, made without the library."""

from typing import Any

import numpy as np

from pullbook.difference_panel import compared_panels
from pullbook.panels import Line, Panel, axis_title, dash
from pullbook.shop.comparing import Comparison
from pullbook.shop.facts import Floats
from pullbook.shown_units import ShownUnits

# The light half of web/static/css/tokens.css; the page's script repaints by `meta.style` when the sheet is dark.
COLOURS = {"a": "#0072b2", "b": "#d55e00", "c": "#008a64", "d": "#000000", "e": "#b65c8f", "f": "#9a6a00"}
_WIDTHS = {"mean": 3.0, "single": 1.0, "asked": 1.5, "low": 0.5, "high": 0.5}
_QUIET = ("single", "low", "high")  # the cursor's readout says the rest
_TINT = "2e"  # how much of a setup's colour its interval has, as the last pair of #rrggbbaa
_PANEL_GAP = 0.06


def overlay(comparison: Comparison, units: ShownUnits) -> dict[str, Any]:
    """A comparison as a figure: `data` (one trace a line), `layout` (panels stacked on one axis of speed)."""
    return figure_of(compared_panels(comparison, units), comparison.engine_speed_rpm)


def figure_of(panels: tuple[Panel, ...], grid_rpm: Floats, one_pull: bool = False) -> dict[str, Any]:
    """Panels as subplots of one figure, so that one cursor reads all of them."""
    speeds = [float(speed) for speed in grid_rpm]
    data = [
        _trace(line, panel, number, speeds)
        for number, panel in enumerate(panels, start=1)
        for line in sorted(panel.lines, key=lambda line: line.kind == "mean")
    ]
    layout = _layout(panels, one_pull)
    for number, (panel, (low, high)) in enumerate(zip(panels, _places(len(panels)), strict=True), start=1):
        name = "yaxis" if number == 1 else f"yaxis{number}"
        layout[name] = {"domain": [low, high], "anchor": "x", "zeroline": panel.has_zero, "automargin": True}
        if panel.has_zero:
            layout[name]["range"] = _reach(panel)
        layout["annotations"].append(
            {
                "text": f"{_text(panel.title)}, {_text(panel.unit)}"
                + (f" – {_text(panel.note)}" if panel.note else ""),
                "xref": "paper",
                "yref": "paper",
                "x": 0,
                "y": high,
                "xanchor": "left",
                "yanchor": "bottom",
                "showarrow": False,
            }
        )
    return {"data": data, "layout": layout}


def _layout(panels: tuple[Panel, ...], one_pull: bool) -> dict[str, Any]:
    """Everything but the panels' own axes: one axis of speed, one cursor, the panels' words for the readout."""
    return {
        "hovermode": "x unified",
        "hoversubplots": "axis",
        "showlegend": False,
        "dragmode": "zoom",
        "margin": {"l": 64, "r": 28, "t": 28, "b": 52},
        "xaxis": {
            "title": {"text": axis_title(panels)},
            "anchor": f"y{len(panels)}" if len(panels) > 1 else "y",
            "showspikes": True,
            "spikemode": "across",
            "spikethickness": 1,
            "spikedash": "solid",
            "zeroline": False,
            "ticks": "outside",
            "tickformat": ",d",
            "hoverformat": ",d",
        },
        "annotations": [],
        "meta": {
            "one_pull": one_pull,
            "panels": [{"key": p.key, "title": p.title, "unit": p.unit, "decimals": p.decimals} for p in panels],
        },
    }


def _places(count: int) -> list[tuple[float, float]]:
    """The share of the height each panel has, top first: power half as high again as the others."""
    weights = [1.5] + [1.0] * (count - 1)
    room = 1.0 - _PANEL_GAP * (count - 1)
    places, top = [], 1.0
    for weight in weights[:count]:
        height = room * weight / sum(weights[:count])
        places.append((round(max(top - height, 0.0), 4), round(top, 4)))
        top -= height + _PANEL_GAP
    return places


def _trace(line: Line, panel: Panel, number: int, speeds: list[float]) -> dict[str, Any]:
    pattern = "3 3" if line.kind == "asked" else dash(line.style)
    said = f"%{{y:.{panel.decimals}f}} {_text(panel.unit)}"
    return {
        "type": "scatter",
        "mode": "lines",
        "name": _text(line.label),
        "x": speeds,
        "y": _values(line.values, panel.decimals),
        "yaxis": "y" if number == 1 else f"y{number}",
        "line": {
            "color": COLOURS[line.style],
            "width": _WIDTHS[line.kind],
            "dash": ",".join(f"{part}px" for part in pattern.split()) or "solid",
        },
        **({"fill": "tonexty", "fillcolor": COLOURS[line.style] + _TINT} if line.kind == "high" else {}),
        "opacity": 0.7 if line.kind == "single" else 1.0,
        "connectgaps": False,
        "hoverinfo": "skip" if line.kind in _QUIET else "all",
        **({} if line.kind in _QUIET else {"hovertemplate": said}),
        "meta": {
            "style": line.style,
            "letter": line.letter,
            "kind": line.kind,
            "pull_id": line.pull_id or "",
            "panel": panel.key,
            "label": line.label,
        },
    }


def _reach(panel: Panel) -> list[float]:
    """Both ends of an axis that does not follow an interval opening wide at the ends of the sweep."""
    low, high = panel.span
    room = 0.06 * (high - low or 1.0)
    return [round(low - room, 4), round(high + room, 4)]


def _values(values: Floats, decimals: int) -> list[float | None]:
    """Rounded one place finer than they are printed; a gap where there is none."""
    return [round(float(value), decimals + 1) if np.isfinite(value) else None for value in values]


def _text(text: str) -> str:
    """The chart library reads some markup in labels: what people typed must stay text."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
