"""The customer's page put together: the same for a link that is opened and for a preview of one."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from pullbook.db.tables import Shop
from pullbook.measure.correction import STANDARDS
from pullbook.overlay_svg import NARROW, panels_svg, plot_sides
from pullbook.pages.cell_shown import DataColumn
from pullbook.pages.render import units_of, voice_of
from pullbook.pages.results_amended import amended, earlier_lines
from pullbook.pages.results_flags import flag_lines
from pullbook.pages.results_measured import conditions_apart, measured_facts
from pullbook.pages.results_shown import Choice, ResultsPage
from pullbook.pages.results_voice import LANGUAGES, UNIT_SETS, Voice
from pullbook.pages.results_words import sentences
from pullbook.pages.summing_up import safe_json, summaries
from pullbook.pages.told import Frame
from pullbook.panels import Panel, panels_of
from pullbook.shop.comparing import Comparison
from pullbook.shop.publishing import Published
from pullbook.shown_units import ShownUnits

TABLE_STEP_RPM = 250.0


def link_units(published: Published, shop: Shop | None) -> ShownUnits:
    """The units that were published; the shop's for a link from before it kept any."""
    units = published.link.units
    return ShownUnits(units["power"], units["torque"], units["pressure"]) if units else units_of(shop)


def results_page(published: Published, shop: Shop | None, around: Frame, is_preview: bool = False) -> ResultsPage:
    """What the template is given. Nothing is read here besides what was read already."""
    voice, comparison = voice_of(around), published.comparison
    standard, found, panels = STANDARDS[comparison.standard], summaries(comparison), _panels(comparison, voice)
    grid = comparison.engine_speed_rpm
    every = [place for place, speed in enumerate(grid) if abs(speed / TABLE_STEP_RPM % 1.0) < 1e-6]
    return ResultsPage(
        published=published,
        is_preview=is_preview,
        shop_address=", ".join(shop.address.split("\n")) if shop else "",
        languages=_languages(voice),
        unit_sets=_unit_sets(voice, link_units(published, shop)),
        amended=amended(published.changes, comparison, voice),
        earlier=earlier_lines(published.earlier, voice),
        standard=standard,
        summaries=found,
        sentences=sentences(found, voice, standard, comparison.judgement, not comparison.conditions),
        days=voice.listed(voice.day(at) for at in _days(comparison, ZoneInfo(voice.time_zone))),
        flags=flag_lines(comparison, voice),
        apart=conditions_apart(comparison, voice),
        facts=measured_facts(comparison, voice),
        svg=panels_svg(
            panels,
            grid,
            NARROW,
            _described(comparison, voice),
            axis_words=voice.say(f"chart.axis.{comparison.axis}"),
            write=voice.number,
        ),
        explored=_explored(panels, comparison, voice),
        speeds=tuple(voice.number(float(grid[place])) for place in every),
        columns=_columns(panels, every, voice),
    )


def _described(comparison: Comparison, voice: Voice) -> str:
    axis = voice.say(f"axis.{comparison.axis}")
    if comparison.standard == "observed":
        return voice.say("chart.said_observed", axis=axis)
    return voice.say("chart.said", axis=axis, standard=comparison.standard_title)


def _panels(comparison: Comparison, voice: Voice) -> tuple[Panel, ...]:
    """Power and torque, their titles in the page's language."""
    titles = {"power": "chart.power", "torque": f"chart.torque.{comparison.axis}"}
    drawn = panels_of(comparison, voice.units, ("power", "torque"))
    return tuple(replace(panel, title=voice.say(titles[panel.key])) for panel in drawn)


def _columns(panels: Sequence[Panel], places: Sequence[int], voice: Voice) -> tuple[DataColumn, ...]:
    """The numbers behind the bold lines, as printed."""
    columns = []
    for panel in panels:
        for line in panel.lines:
            if line.kind == "mean":
                title = voice.say(f"numbers.{panel.key}", unit=panel.unit, setup=line.letter)
                values = (float(line.values[place]) for place in places)
                told = tuple(voice.number(v, panel.decimals) if np.isfinite(v) else "" for v in values)
                columns.append(DataColumn(title, told))
    return tuple(columns)


def _explored(panels: Sequence[Panel], comparison: Comparison, voice: Voice) -> str:
    """What the readout says at each speed of the grid, and where the plot lies on the drawing."""
    left, right, top, foot = plot_sides(NARROW)
    texts = ("speed", "values", "none", "open", "close", "closer", "wider")
    told: dict[str, Any] = {
        "sides": [left, right, top, foot],
        "speeds": [float(speed) for speed in comparison.engine_speed_rpm],
        "said": [voice.number(float(speed)) for speed in comparison.engine_speed_rpm],
        "lines": [
            {"letter": line.letter, "style": line.style, "unit": panel.unit, "values": _read(line.values, panel, voice)}
            for panel in panels
            for line in panel.lines
            if line.kind == "mean"
        ],
        "words": {name: voice.say(f"explore.{name}", speed="{speed}") for name in texts},
        "print": voice.say("foot.print"),
    }
    return safe_json(told)


def _read(values: Any, panel: Panel, voice: Voice) -> list[str]:
    return [voice.number(v, panel.decimals) if np.isfinite(v) else "" for v in map(float, values)]


def _days(comparison: Comparison, zone: ZoneInfo) -> tuple[datetime, ...]:
    """The first pull of each day, by the shop's clock."""
    taken = sorted(pull.facts.taken_at for pull in comparison.pulls)
    return tuple({at.astimezone(zone).date(): at for at in reversed(taken)}.values())[::-1]


def _languages(voice: Voice) -> tuple[Choice, ...]:
    return tuple(
        Choice(name, _query(code, _unit_set(voice)), code, code == voice.language) for code, name in LANGUAGES.items()
    )


def _unit_sets(voice: Voice, published: ShownUnits) -> tuple[Choice, ...]:
    """The usual sets; before them that of the link, where the shop mixes its own."""
    shown = _unit_set(voice)
    choices = [
        Choice(_named(units), _query(voice.language, name), name, name == shown) for name, units in UNIT_SETS.items()
    ]
    if _named(published) not in {one.name for one in choices}:
        choices.insert(0, Choice(_named(published), _query(voice.language, ""), "", shown == ""))
    return tuple(choices)


def _named(units: ShownUnits) -> str:
    return f"{units.power}, {units.torque}"


def _unit_set(voice: Voice) -> str:
    """Which set the page is shown in; empty for a mixture of the shop's own."""
    units = voice.units
    alike = (name for name, one in UNIT_SETS.items() if (one.power, one.torque) == (units.power, units.torque))
    return next(alike, "")


def _query(language: str, units: str) -> str:
    return f"?lang={language}&units={units}" if units else f"?lang={language}"
