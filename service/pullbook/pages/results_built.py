"""The customer's page put together: the same for a link that is opened and for a preview of one."""

from datetime import datetime
from zoneinfo import ZoneInfo

from pullbook.db.tables import Shop
from pullbook.measure.correction import STANDARDS
from pullbook.overlay_svg import NARROW, panels_svg
from pullbook.pages.render import units_of
from pullbook.pages.results_amended import amendments
from pullbook.pages.results_flags import flag_lines
from pullbook.pages.results_shown import AirLine, ResultsPage
from pullbook.pages.results_words import sentences
from pullbook.pages.summing_up import summaries, table_of
from pullbook.panels import AXIS_WORDS, panels_of
from pullbook.shop.comparing import Comparison
from pullbook.shop.publishing import Published
from pullbook.shown_units import ShownUnits, plain_number

TABLE_STEP_RPM = 250.0


def link_units(published: Published, shop: Shop | None) -> ShownUnits:
    """The units that were published; the shop's for a link from before it kept any."""
    units = published.link.units
    return ShownUnits(units["power"], units["torque"], units["pressure"]) if units else units_of(shop)


def results_page(published: Published, shop: Shop | None, is_preview: bool = False) -> ResultsPage:
    """What the template is given. Nothing is read here besides what was read already."""
    units, zone = link_units(published, shop), ZoneInfo(published.time_zone)
    comparison = published.comparison
    found = summaries(comparison)
    panels = panels_of(comparison, units, ("power", "torque"))
    every = [
        place for place, speed in enumerate(comparison.engine_speed_rpm) if abs(speed / TABLE_STEP_RPM % 1.0) < 1e-6
    ]
    speeds, columns = table_of(panels, comparison.engine_speed_rpm)
    over = f"{AXIS_WORDS[comparison.axis]}, {comparison.standard_title}"
    said = f"Power and torque over {over}; the numbers are in the table"
    return ResultsPage(
        published=published,
        is_preview=is_preview,
        shop_address=", ".join(shop.address.split("\n")) if shop else "",
        amendments=amendments(published.changes, comparison.pulls, units, zone),
        standard=STANDARDS[comparison.standard],
        summaries=found,
        sentences=sentences(
            found, units, STANDARDS[comparison.standard], comparison.judgement, not comparison.conditions
        ),
        days=_days(comparison, zone),
        cell_names=tuple(dict.fromkeys(pull.facts.cell_name for pull in comparison.pulls)),
        flags=flag_lines(comparison),
        air=_air(comparison, units),
        svg=panels_svg(panels, comparison.engine_speed_rpm, NARROW, said),
        speeds=tuple(speeds[place] for place in every),
        columns=tuple(type(one)(one.title, tuple(one.values[place] for place in every)) for one in columns),
    )


def _days(comparison: Comparison, zone: ZoneInfo) -> tuple[datetime, ...]:
    """The first pull of each day, by the shop's clock."""
    taken = sorted(pull.facts.taken_at for pull in comparison.pulls)
    return tuple({at.astimezone(zone).date(): at for at in reversed(taken)}.values())[::-1]


def _air(comparison: Comparison, units: ShownUnits) -> tuple[AirLine, ...]:
    """Each setup's air: from the coolest to the warmest of its pulls, and the factors that came of it."""
    lines = []
    for setup in comparison.setups:
        airs = [pull.curve.air for pull in setup.standing if pull.curve is not None and pull.curve.air is not None]
        factors = [p.curve.factor for p in setup.standing if p.curve is not None and p.curve.factor is not None]
        if not airs:
            lines.append(AirLine(setup.position, "No weather reading: power is shown as observed, uncorrected."))
            continue
        warm = _span([air.temperature_c for air in airs], 1, "°C")
        pressed = _span([units.number(air.pressure_kpa, "pressure") for air in airs], 1, units.label("pressure"))
        moist = _span([air.relative_humidity_pct for air in airs], 0, "% relative humidity")
        factor = f"; factor {_span(factors, 4, '')}" if factors else ""
        lines.append(AirLine(setup.position, f"{warm}, {pressed} at the cell, {moist}{factor}".strip()))
    return tuple(lines)


def _span(values: list[float], decimals: int, unit: str) -> str:
    low, high = plain_number(min(values), decimals), plain_number(max(values), decimals)
    text = low if low == high else f"{low} to {high}"
    return f"{text} {unit}".strip()
