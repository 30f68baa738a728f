"""Holds drawn over the sweeps of their setup: power against engine speed, a point with its ± for each plateau."""

from collections.abc import Sequence
from html import escape

import numpy as np

from pullbook.axis_ticks import tick_decimals, ticks
from pullbook.late_methods import dataclass
from pullbook.measure.hold import HeldAt
from pullbook.shop.facts import Floats
from pullbook.shop.reading import ReadPull
from pullbook.shown_units import ShownUnits, plain_number

_LEFT, _RIGHT, _TOP, _FOOT = 52, 20, 34, 46


@dataclass(frozen=True)
class _Paper:
    """Where engine speed and shown power lie on the drawing."""

    width: int
    height: int
    rpm: tuple[float, float]
    power: tuple[float, float]

    def x(self, rpm: float) -> float:
        """Of an engine speed."""
        low, high = self.rpm
        return _LEFT + (rpm - low) / (high - low) * (self.width - _LEFT - _RIGHT)

    def y(self, power: float) -> float:
        """Of a power in the shop's unit."""
        low, high = self.power
        return _TOP + (high - power) / (high - low) * (self.height - _TOP - _FOOT)


def holds_svg(plateaus: Sequence[HeldAt], sweeps: Sequence[ReadPull], units: ShownUnits, width: int) -> str:
    """One `<svg>`; an empty string where no plateau has an engine speed. Text in it is escaped."""
    points = [
        (one.engine_speed_rpm.value, *units.values([one.power_w, one.expanded_uncertainty_w], "power").tolist())
        for one in plateaus
        if one.engine_speed_rpm is not None
    ]
    if not points:
        return ""
    lines = [
        (sweep.curve.engine_speed_rpm, units.values(sweep.curve.power_w, "power")) for sweep in sweeps if sweep.curve
    ]
    paper = _paper(points, lines, width)
    unit = units.label("power")
    parts = _grid(paper)
    parts += [_line(paper, rpm, power) for rpm, power in lines]
    parts += [_point(paper, number, *point) for number, point in enumerate(points, 1)]
    parts.append(f'<text x="{_LEFT}" y="18" class="panel-title">Power at the wheels, {escape(unit)}</text>')
    middle = (_LEFT + paper.width - _RIGHT) / 2
    parts.append(f'<text x="{middle:g}" y="{paper.height - 8}" text-anchor="middle">Engine speed, rev/min</text>')
    said = f"Power of {len(points)} plateaus over {len(lines)} sweeps of the setup; the numbers are in the table"
    return (
        f'<svg viewBox="0 0 {paper.width} {paper.height}" width="{paper.width}" height="{paper.height}" role="img" '
        f'xmlns="http://www.w3.org/2000/svg"><title>{said}</title>{"".join(parts)}</svg>'
    )


def _paper(points: Sequence[tuple[float, float, float]], lines: Sequence[tuple[Floats, Floats]], width: int) -> _Paper:
    rpm = [point[0] for point in points] + [float(end) for speeds, _ in lines for end in (speeds[0], speeds[-1])]
    tops = [point[1] + point[2] for point in points] + [float(np.max(power)) for _, power in lines]
    lows = [point[1] - point[2] for point in points] + [float(np.min(power)) for _, power in lines]
    speeds = ticks(min(rpm) - 50.0, max(rpm) + 50.0, max(4, width // 130))
    powers = ticks(min(0.0, *lows), max(tops), 5)
    return _Paper(width, 300 if width < 600 else 340, (speeds[0], speeds[-1]), (powers[0], powers[-1]))


def _grid(paper: _Paper) -> list[str]:
    right, bottom = paper.width - _RIGHT, paper.height - _FOOT
    speeds, powers = ticks(*paper.rpm, max(4, paper.width // 130)), ticks(*paper.power, 5)
    decimals = tick_decimals(powers)
    parts = []
    for power in powers:
        y = paper.y(power)
        parts.append(f'<path d="M{_LEFT} {y:.1f}H{right}" class="fine"/>')
        label = plain_number(power, decimals)
        parts.append(f'<text x="{_LEFT - 6}" y="{y + 4:.1f}" text-anchor="end" class="tick-label">{label}</text>')
    for speed in speeds:
        x = paper.x(speed)
        parts.append(f'<path d="M{x:.1f} {_TOP}V{bottom}" class="fine"/>')
        label = plain_number(speed)
        parts.append(f'<text x="{x:.1f}" y="{bottom + 17}" text-anchor="middle" class="tick-label">{label}</text>')
    parts.append(f'<path d="M{_LEFT} {_TOP}V{bottom}H{right}" class="edge"/>')
    return parts


def _line(paper: _Paper, rpm: Floats, power: Floats) -> str:
    places = " ".join(
        f"{paper.x(n):.1f} {paper.y(p):.1f}" for n, p in zip(rpm.tolist(), power.tolist(), strict=True) if p == p
    )
    return f'<path d="M{places}" class="line single setup-a"/>'


def _point(paper: _Paper, number: int, rpm: float, power: float, u: float) -> str:
    x, y, low, high = paper.x(rpm), paper.y(power), paper.y(power - u), paper.y(power + u)
    return (
        f'<path d="M{x:.1f} {low:.1f}V{high:.1f}M{x - 5:.1f} {low:.1f}h10M{x - 5:.1f} {high:.1f}h10" '
        f'class="line mean setup-b"/><circle cx="{x:.1f}" cy="{y:.1f}" r="4.5" class="dot setup-b"/>'
        f'<text x="{x:.1f}" y="{min(y, high) - 8:.1f}" text-anchor="middle" class="end-letter">{number}</text>'
    )
