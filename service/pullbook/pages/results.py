"""The customer's page: one link, nobody signed in, no script, nothing to wait for."""

from datetime import datetime
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from starlette.responses import Response

from pullbook.deps import Now, ReadSession, SettingsDep
from pullbook.measure.correction import STANDARDS
from pullbook.overlay_svg import NARROW, panels_svg
from pullbook.pages.render import draw, frame, shop_row
from pullbook.pages.results_amended import amendments
from pullbook.pages.results_flags import flag_lines
from pullbook.pages.results_shown import AirLine, ResultsPage
from pullbook.pages.results_style import customer_headers
from pullbook.pages.results_words import sentences
from pullbook.pages.summing_up import summaries, table_of
from pullbook.panels import AXIS_WORDS, panels_of
from pullbook.shop.comparing import Comparison
from pullbook.shop.publishing import open_link
from pullbook.shown_units import ShownUnits, plain_number

router = APIRouter(include_in_schema=False)

TABLE_STEP_RPM = 250.0


@router.get("/r/{token}")
def results(request: Request, token: str, session: ReadSession, settings: SettingsDep, now: Now) -> Response:
    """What was published under this link. 404 and 410 are the same page and say to ask the shop."""
    published = open_link(session, token, now, settings.weather_stale_minutes)
    shop = shop_row(session)
    around = frame(request, shop, None)
    zone = ZoneInfo(around.time_zone)
    comparison = published.comparison
    found = summaries(comparison)
    panels = panels_of(comparison, around.units, ("power", "torque"))
    every = [
        place for place, speed in enumerate(comparison.engine_speed_rpm) if abs(speed / TABLE_STEP_RPM % 1.0) < 1e-6
    ]
    speeds, columns = table_of(panels, comparison.engine_speed_rpm)
    over = f"{AXIS_WORDS[comparison.axis]}, {comparison.standard_title}"
    said = f"Power and torque over {over}; the numbers are in the table"
    page = ResultsPage(
        published=published,
        shop_address=", ".join(shop.address.split("\n")) if shop else "",
        amendments=amendments(published.changes, comparison.pulls, around.units, zone),
        standard=STANDARDS[comparison.standard],
        summaries=found,
        sentences=sentences(
            found, around.units, STANDARDS[comparison.standard], comparison.judgement, not comparison.conditions
        ),
        days=_days(comparison, zone),
        cell_names=tuple(dict.fromkeys(pull.facts.cell_name for pull in comparison.pulls)),
        flags=flag_lines(comparison),
        air=_air(comparison, around.units),
        svg=panels_svg(panels, comparison.engine_speed_rpm, NARROW, said),
        speeds=tuple(speeds[place] for place in every),
        columns=tuple(type(one)(one.title, tuple(one.values[place] for place in every)) for one in columns),
    )
    return draw(around, page, headers=customer_headers())


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
