"""Months as bars: one quiet panel for a figure, two dozen months side by side, the one that is read marked."""

from collections.abc import Sequence
from html import escape

from pullbook.axis_ticks import tick_decimals, ticks
from pullbook.late_methods import dataclass
from pullbook.shown_units import plain_number

WIDE = 460
_LEFT, _RIGHT, _TOP, _TALL, _FOOT = 52, 8, 26, 108, 22


@dataclass(frozen=True)
class Bars:
    """A figure over months. `values` are drawn as bars, `beside` as a line of dots over them; None: nothing to draw."""

    title: str
    names: Sequence[str]  # 2026-11
    values: Sequence[float | None]
    beside: Sequence[float | None] = ()


def bars_svg(bars: Bars, read: str) -> str:
    """The panel; empty where every value is nought or missing. `read`: the month that the page is about."""
    told = [value for value in (*bars.values, *bars.beside) if value]
    if not told:
        return ""
    marks = ticks(min(0.0, *told), max(0.0, *told), 4)
    low, high = marks[0], marks[-1]
    step = (WIDE - _LEFT - _RIGHT) / len(bars.names)

    def y(value: float) -> float:
        return _TOP + _TALL * (high - value) / (high - low)

    parts = [f'<text class="panel-title" x="{_LEFT}" y="14">{escape(bars.title)}</text>']
    for mark in marks:
        label = plain_number(mark, tick_decimals(marks))
        parts.append(f'<path class="fine" d="M{_LEFT} {y(mark):.1f}H{WIDE - _RIGHT}"/>')
        parts.append(f'<text class="tick-label" x="{_LEFT - 6}" y="{y(mark) + 4:.1f}" text-anchor="end">{label}</text>')
    for place, (name, value) in enumerate(zip(bars.names, bars.values, strict=True)):
        x = _LEFT + place * step
        if value:
            top, tall = min(y(value), y(0.0)), abs(y(value) - y(0.0))
            kind = "bar read" if name == read else "bar"
            parts.append(
                f'<rect class="{kind}" x="{x + step * 0.14:.1f}" y="{top:.1f}" width="{step * 0.72:.1f}" '
                f'height="{max(tall, 0.8):.1f}"/>'
            )
        parts.append(_year(name, x, place == 0))
    parts.extend(
        f'<circle class="beside" cx="{_LEFT + (place + 0.5) * step:.1f}" cy="{y(value):.1f}" r="3"/>'
        for place, value in enumerate(bars.beside)
        if value
    )
    said = f"{bars.title}, {bars.names[0]} to {bars.names[-1]}; numbers in the table beneath"
    height = _TOP + _TALL + _FOOT
    return (
        f'<svg viewBox="0 0 {WIDE} {height}" role="img" xmlns="http://www.w3.org/2000/svg">'
        f"<title>{escape(said)}</title>{''.join(parts)}</svg>"
    )


def _year(name: str, x: float, is_first: bool) -> str:
    """A mark where each month begins, a longer one with the year's number where a year does."""
    bottom = _TOP + _TALL
    if name.endswith("-01") or is_first:
        label = name[:4] if name.endswith("-01") else ""
        tick = f'<path class="edge" d="M{x:.1f} {bottom}v6"/>'
        return f'{tick}<text class="tick-label" x="{x + 3:.1f}" y="{bottom + 17}">{label}</text>'
    return f'<path class="strong" d="M{x:.1f} {bottom}v3"/>'
