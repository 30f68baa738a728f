"""The weather log as its page shows it: each cell's latest readings and a small drawing of them."""

from datetime import datetime, timedelta
from html import escape
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session, aliased

from pullbook.axis_ticks import tick_decimals, ticks
from pullbook.db.tables import Staff, WeatherReading
from pullbook.pages.cell_shown import WeatherCell, WeatherLine, WeatherPage
from pullbook.pages.finding import cells
from pullbook.shown_units import ShownUnits, plain_number

READINGS_SHOWN = 40
NEAR = timedelta(hours=6)  # further apart, nothing is known of the air between: no line
_WIDTH, _HEIGHT, _LEFT, _RIGHT = 520, 74, 52, 10


def read_weather(session: Session, now: datetime, time_zone: str, units: ShownUnits) -> WeatherPage:
    """Every cell's log, newest reading first."""
    logs = []
    for cell in cells(session):
        lines = _lines(session, cell.id)
        logs.append(WeatherCell(cell, lines, readings_svg(lines, cell.name, ZoneInfo(time_zone), units)))
    return WeatherPage(logs=tuple(logs), now=now)


def _lines(session: Session, cell_id: str) -> tuple[WeatherLine, ...]:
    newer = aliased(WeatherReading)
    rows = session.execute(
        select(WeatherReading, Staff.full_name, newer.id)
        .join(Staff, Staff.id == WeatherReading.made_by)
        .outerjoin(newer, newer.supersedes_id == WeatherReading.id)
        .where(WeatherReading.cell_id == cell_id)
        .order_by(WeatherReading.read_at.desc(), WeatherReading.id.desc())
        .limit(READINGS_SHOWN)
    )
    return tuple(
        WeatherLine(
            id=reading.id,
            read_at=reading.read_at,
            air_temperature_c=reading.air_temperature_c,
            station_pressure_kpa=reading.station_pressure_kpa,
            humidity_kind=reading.humidity_kind,
            humidity_value=reading.humidity_value,
            altimeter_setting_kpa=reading.altimeter_setting_kpa,
            source=reading.source,
            doubt=reading.doubt,
            made_by_name=maker,
            superseded=newer_id is not None,
        )
        for reading, maker, newer_id in rows
    )


def readings_svg(lines: tuple[WeatherLine, ...], cell_name: str, zone: ZoneInfo, units: ShownUnits) -> str:
    """Temperature and station pressure over time, one above the other; empty with fewer than two readings."""
    standing = [line for line in reversed(lines) if not line.superseded]
    if len(standing) < 2:
        return ""
    first, last = standing[0].read_at, standing[-1].read_at
    span = max((last - first).total_seconds(), 1.0)
    across = [_LEFT + (line.read_at - first).total_seconds() / span * (_WIDTH - _LEFT - _RIGHT) for line in standing]
    parts = [
        _strip(
            f"{title}, {units.label(dimension)}",
            [units.number(getattr(line, name), dimension) for line in standing],
            across,
            top,
            standing,
        )
        for title, dimension, name, top in (
            ("Air temperature", "temperature", "air_temperature_c", 20),
            ("Station pressure", "pressure", "station_pressure_kpa", 40 + _HEIGHT),
        )
    ]
    bottom = 40 + 2 * _HEIGHT + 18
    for place, anchor, moment in ((_LEFT, "start", first), (_WIDTH - _RIGHT, "end", last)):
        text = moment.astimezone(zone).strftime("%-d %b %Y, %H:%M")
        parts.append(f'<text class="tick-label" x="{place}" y="{bottom}" text-anchor="{anchor}">{text}</text>')
    title = escape(f"Air temperature and station pressure in {cell_name}; the numbers are in the table")
    return (
        f'<svg viewBox="0 0 {_WIDTH} {bottom + 8}" width="{_WIDTH}" height="{bottom + 8}" role="img" '
        f'xmlns="http://www.w3.org/2000/svg"><title>{title}</title>{"".join(parts)}</svg>'
    )


def _strip(title: str, values: list[float], across: list[float], top: int, lines: list[WeatherLine]) -> str:
    marks = ticks(min(values), max(values), 3)
    scale = _HEIGHT / (marks[-1] - marks[0])
    heights = [top + _HEIGHT - (value - marks[0]) * scale for value in values]
    drawn = [f'<text class="panel-title" x="{_LEFT}" y="{top - 6}">{title}</text>']
    for mark in marks:
        y = top + _HEIGHT - (mark - marks[0]) * scale
        drawn.append(f'<path class="strong" d="M{_LEFT} {y:.1f}H{_WIDTH - _RIGHT}"/>')
        label = plain_number(mark, tick_decimals(marks))
        drawn.append(f'<text class="tick-label" x="{_LEFT - 6}" y="{y + 4:.1f}" text-anchor="end">{label}</text>')
    path = "".join(
        f"{'L' if number and lines[number].read_at - lines[number - 1].read_at < NEAR else 'M'}{x:.1f} {y:.1f}"
        for number, (x, y) in enumerate(zip(across, heights, strict=True))
    )
    drawn.append(f'<path class="line asked setup-a" d="{path}"/>')
    for x, y, line in zip(across, heights, lines, strict=True):
        if line.doubt:  # a doubtful reading is a cross, not only another colour
            drawn.append(f'<path class="line mean setup-b" d="M{x - 5:.1f} {y - 5:.1f}l10 10m0 -10l-10 10"/>')
        else:
            drawn.append(f'<circle class="dot setup-a" cx="{x:.1f}" cy="{y:.1f}" r="3.5"/>')
    return "".join(drawn)
