"""Drawings that say whether something is steady: a control chart in two panels, and what a coast-down's fit leaves."""

from collections.abc import Sequence
from datetime import datetime
from html import escape
from zoneinfo import ZoneInfo

import numpy as np

from pullbook.axis_ticks import tick_decimals, ticks
from pullbook.late_methods import dataclass
from pullbook.measure.coastdown import CoastDown
from pullbook.shop.watching import CellChart
from pullbook.shown_units import ShownUnits, plain_number

CHART_WIDE, CHART_NARROW = 900, 400
_LEFT, _RIGHT, _TOP, _GAP, _FOOT = 58, 64, 26, 62, 26
_TALL, _SHORT = 210, 100
_MOST_DOTS = 400


@dataclass(frozen=True)
class _Panel:
    """One panel: where it lies, and how values become places on it."""

    top: float
    height: float
    low: float
    high: float

    def y(self, value: float) -> float:
        return self.top + self.height - (value - self.low) / (self.high - self.low) * self.height


def control_chart_svg(shown: CellChart, units: ShownUnits, zone: ZoneInfo, width: int = CHART_WIDE) -> str:
    """Visits and their moving ranges over time with centre and limits; empty while there is no chart."""
    chart = shown.chart
    if chart is None:
        return ""
    powers = [units.number(visit.power_w, "power") for visit in shown.visits]
    lines = [(sigmas, units.number(chart.zone(sigmas), "power")) for sigmas in (-3.0, -2.0, 0.0, 2.0, 3.0)]
    ranges = [0.0, *np.abs(np.diff(powers)).tolist()]
    limit = units.number(chart.range_limit, "power")
    across = _across([visit.at for visit in shown.visits], width)
    unit = units.label("power")
    upper = _scaled(_TOP, _TALL, [*powers, *(value for _, value in lines)])
    lower = _scaled(_TOP + _TALL + _GAP, _SHORT, [0.0, *ranges, limit])
    out = {place for place, _ in shown.said}
    roomy = upper.y(lines[0][1]) - upper.y(lines[1][1]) > 13.0  # for a label at each line
    parts = [
        _axis(upper, f"Mean power over the band, {unit}", width),
        *(
            _limit(upper, value, _NAMES[sigmas] if roomy or abs(sigmas) != 2.0 else "", width, sigmas)
            for sigmas, value in lines
        ),
        _changes(shown, across, width, upper.top, lower.top + lower.height),
        _points(upper, across, powers, out),
        _axis(lower, f"Moving range, {unit}", width),
        _limit(lower, limit, "limit", width, 3.0),
        _points(lower, across[1:], ranges[1:], {place - 1 for place in chart.range_signals}),
        _dates([visit.at for visit in shown.visits], zone, width, lower.top + lower.height + 18),
    ]
    said = f"Control chart of {shown.cell_name}: {len(powers)} visits, {len(out)} out of control; numbers in the table"
    return _whole(parts, width, lower.top + lower.height + _FOOT, said)


_NAMES = {-3.0: "−3σ", -2.0: "−2σ", 0.0: "centre", 2.0: "+2σ", 3.0: "+3σ"}


def residual_svg(run: CoastDown, width: int = CHART_WIDE) -> str:
    """What the fit of a coast-down leaves, over roller speed: a bend or a step here means another law than assumed."""
    left, speed = run.residual * 1e3, run.speed_rad_s
    step = max(1, len(left) // _MOST_DOTS)
    panel = _scaled(_TOP, _SHORT + 30, [float(left.min()), float(left.max())])
    low, high = float(speed.min()), float(speed.max())
    span = (width - _LEFT - _RIGHT) / max(high - low, 1e-9)
    dots = "".join(
        f'<circle class="dot setup-a" cx="{_LEFT + (at - low) * span:.1f}" cy="{panel.y(value):.1f}" r="2.2"/>'
        for at, value in zip(speed[::step].tolist(), left[::step].tolist(), strict=True)
    )
    bottom = panel.top + panel.height + 18
    marks = [mark for mark in ticks(low, high, 5 if width == CHART_NARROW else 9) if low <= mark <= high]
    labels = "".join(
        f'<text class="tick-label" x="{_LEFT + (mark - low) * span:.1f}" y="{bottom}" text-anchor="middle">'
        f"{plain_number(mark)}</text>"
        for mark in marks
    )
    unit = "mrad" if run.from_angle else "mrad/s"
    parts = [_axis(panel, f"Left by the fit, {unit}, over roller speed, rad/s", width), dots, labels]
    return _whole(parts, width, bottom + 8, "What the fit leaves over roller speed")


def _across(times: Sequence[datetime], width: int) -> list[float]:
    span = max((times[-1] - times[0]).total_seconds(), 1.0)
    return [_LEFT + (at - times[0]).total_seconds() / span * (width - _LEFT - _RIGHT) for at in times]


def _scaled(top: float, height: float, values: Sequence[float]) -> _Panel:
    marks = ticks(min(values), max(values), 5)
    return _Panel(top, height, marks[0], marks[-1])


def _axis(panel: _Panel, title: str, width: int) -> str:
    marks = ticks(panel.low, panel.high, 5 if panel.height > _SHORT else 3)
    drawn = [f'<text class="panel-title" x="{_LEFT}" y="{panel.top - 8:.1f}">{escape(title)}</text>']
    for mark in marks:
        y = panel.y(mark)
        drawn.append(f'<path class="fine" d="M{_LEFT} {y:.1f}H{width - _RIGHT}"/>')
        label = plain_number(mark, tick_decimals(marks))
        drawn.append(f'<text class="tick-label" x="{_LEFT - 6}" y="{y + 4:.1f}" text-anchor="end">{label}</text>')
    return "".join(drawn)


def _limit(panel: _Panel, value: float, name: str, width: int, sigmas: float) -> str:
    y = panel.y(value)
    dash = {0.0: "", 3.0: ' stroke-dasharray="7 4"'}.get(abs(sigmas), ' stroke-dasharray="2 5"')
    line = f'<path class="edge" d="M{_LEFT} {y:.1f}H{width - _RIGHT}"{dash}/>'
    if not name:
        return line
    return f'{line}<text class="tick-label" x="{width - _RIGHT + 5}" y="{y + 4:.1f}">{name}</text>'


def _points(panel: _Panel, across: Sequence[float], values: Sequence[float], out: set[int]) -> str:
    places = [(x, panel.y(value)) for x, value in zip(across, values, strict=True)]
    path = "".join(f"{'L' if number else 'M'}{x:.1f} {y:.1f}" for number, (x, y) in enumerate(places))
    drawn = [f'<path class="line asked setup-a" d="{path}"/>']
    for number, (x, y) in enumerate(places):
        if number in out:  # out of control is a cross, not only another colour
            drawn.append(f'<path class="line mean setup-b" d="M{x - 5:.1f} {y - 5:.1f}l10 10m0 -10l-10 10"/>')
        else:
            drawn.append(f'<circle class="dot setup-a" cx="{x:.1f}" cy="{y:.1f}" r="4"/>')
    return "".join(drawn)


def _changes(shown: CellChart, across: Sequence[float], width: int, top: float, bottom: float) -> str:
    """An upright line where a new calibration came into force."""
    first, last = shown.visits[0].at, shown.visits[-1].at
    span = max((last - first).total_seconds(), 1.0)
    drawn = []
    for at in shown.calibrated_at:
        x = across[0] + (at - first).total_seconds() / span * (width - _LEFT - _RIGHT)
        drawn.append(f'<path class="edge" d="M{x:.1f} {top:.1f}V{bottom:.1f}" stroke-dasharray="1 3"/>')
        drawn.append(f'<text class="tick-label" x="{x + 4:.1f}" y="{top + 12:.1f}">calibrated</text>')
    return "".join(drawn)


def _dates(times: Sequence[datetime], zone: ZoneInfo, width: int, y: float) -> str:
    ends = ((_LEFT, "start", times[0]), (width - _RIGHT, "end", times[-1]))
    return "".join(
        f'<text class="tick-label" x="{x}" y="{y:.1f}" text-anchor="{anchor}">'
        f"{moment.astimezone(zone).strftime('%-d %b %Y')}</text>"
        for x, anchor, moment in ends
    )


def _whole(parts: Sequence[str], width: int, height: float, said: str) -> str:
    return (
        f'<svg viewBox="0 0 {width} {height:.0f}" role="img" xmlns="http://www.w3.org/2000/svg">'
        f"<title>{escape(said)}</title>{''.join(parts)}</svg>"
    )
