"""Watching: is a cell steady? A reference car's pulls as a control chart for each cell, and two cells through the car.

A point is one visit: the mean over the band of a day's sweeps of that car in that cell, for pulls minutes apart do not
show what months do; the day is that of the shop's clock. Pulls set aside count in no point. Each is read under the
calibration in force when it was taken.
"""

from collections.abc import Sequence
from datetime import datetime
from itertools import combinations
from zoneinfo import ZoneInfo

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.db.evidence import Pull
from pullbook.db.tables import Calibration, Cell, Shop, Ticket, Vehicle
from pullbook.db.tuning import ReferenceCar
from pullbook.late_methods import dataclass
from pullbook.measure.controlchart import RULES, Apart, ControlChart, Trend, apart, control_chart, trend_of
from pullbook.shop.reading import ReadSettings, read_pulls

DAYS_A_MONTH = 30.44
DAY_S = 86400.0
TO_DO = (
    "Pull the reference car again before anything else. If it stands: tyres, their pressure and the car's own health "
    "first, then coast the bare rollers down and look at the losses; then weather instrument, load cell and its zero. "
    "Only evidence changes a calibration."
)


@dataclass(frozen=True)
class Visit:
    """One point: mean power over the band, W, corrected, of so many pulls on one day in one cell. `spread_w`: their
    standard deviation, None of one alone."""

    cell_id: str
    at: datetime
    power_w: float
    spread_w: float | None
    pull_ids: tuple[str, ...]
    calibration_id: str | None


@dataclass(frozen=True)
class CellChart:
    """A cell's visits, oldest first, and their chart; None with too few points yet, and `waits` says what for.

    `trend` is W a month over all visits since the calibration last changed or, where that gives too few, over all.
    """

    cell_id: str
    cell_name: str
    visits: tuple[Visit, ...]
    chart: ControlChart | None
    waits: str
    trend: Trend | None
    calibrated_at: tuple[datetime, ...]
    said: tuple[tuple[int, str], ...]  # place of a point out of control, and what it is in words

    @property
    def is_steady(self) -> bool | None:
        """Whether the latest visit breaks no rule; None where there is no chart."""
        if self.chart is None:
            return None
        return all(place != len(self.visits) - 1 for place, _ in self.said)


@dataclass(frozen=True)
class CellsApart:
    """Two cells through the car: second less first, W over the band, and as a share of the first in per cent."""

    first: str
    second: str
    apart: Apart
    difference_pct: float
    half_pct: float
    words: str


@dataclass(frozen=True)
class Watched:
    """A reference car with everything it says. `left_out`: pulls that could not be read over the band, and why."""

    car: ReferenceCar
    vehicle: Vehicle
    charts: tuple[CellChart, ...]
    cells_apart: tuple[CellsApart, ...]
    left_out: tuple[tuple[str, str], ...]


def watch(session: Session, car: ReferenceCar, settings: ReadSettings) -> Watched:
    """Everything the car's pulls say, read anew."""
    vehicle = session.get_one(Vehicle, car.vehicle_id)
    visits, left_out = _visits(session, car, settings)
    charts = tuple(_chart(session, car, cell_id, visits[cell_id]) for cell_id in sorted(visits))
    return Watched(car, vehicle, charts, _apart(session, charts), left_out)


def _visits(
    session: Session, car: ReferenceCar, settings: ReadSettings
) -> tuple[dict[str, list[Visit]], tuple[tuple[str, str], ...]]:
    rows = session.execute(
        select(Pull.id)
        .join(Ticket, Ticket.id == Pull.ticket_id)
        .where(Ticket.vehicle_id == car.vehicle_id, Pull.kind == "sweep", Pull.set_aside_at.is_(None))
        .order_by(Pull.taken_at, Pull.id)
    ).scalars()
    band = (car.band_low_rpm, car.band_high_rpm)
    zone = _shop_zone(session)
    groups: dict[tuple[str, str], list[tuple[str, datetime, float, str | None]]] = {}
    left_out = []
    for pull in read_pulls(session, list(rows), settings):
        power = pull.curve.mean_power_w(band) if pull.curve is not None else float("nan")
        if not np.isfinite(power):
            left_out.append((pull.facts.id, pull.failure or "its sweep does not cover the whole band"))
            continue
        day = (pull.facts.cell_id, pull.facts.taken_at.astimezone(zone).date().isoformat())
        own = pull.calibration.id if pull.calibration else None
        groups.setdefault(day, []).append((pull.facts.id, pull.facts.taken_at, power, own))
    visits: dict[str, list[Visit]] = {}
    for (cell_id, _), pulls in sorted(groups.items(), key=lambda group: group[1][0][1]):
        powers = np.array([power for _, _, power, _ in pulls])
        spread = float(powers.std(ddof=1)) if len(powers) > 1 else None
        ids = tuple(pull_id for pull_id, *_ in pulls)
        visits.setdefault(cell_id, []).append(
            Visit(cell_id, pulls[0][1], float(powers.mean()), spread, ids, pulls[0][3])
        )
    return visits, tuple(left_out)


def _chart(session: Session, car: ReferenceCar, cell_id: str, visits: list[Visit]) -> CellChart:
    name = session.execute(select(Cell.name).where(Cell.id == cell_id)).scalar_one()
    first, last = visits[0].at, visits[-1].at
    calibrated = session.scalars(
        select(Calibration.valid_from)
        .where(Calibration.cell_id == cell_id, Calibration.valid_from > first, Calibration.valid_from <= last)
        .order_by(Calibration.valid_from)
    ).all()
    powers = [visit.power_w for visit in visits]
    chart, waits = None, ""
    try:
        chart = control_chart(powers, car.first_pulls)
    except ValueError as error:
        waits = f"{error}."
    return CellChart(
        cell_id=cell_id,
        cell_name=name,
        visits=tuple(visits),
        chart=chart,
        waits=waits,
        trend=_trend(visits),
        calibrated_at=tuple(calibrated),
        said=_said(chart, powers) if chart is not None else (),
    )


def _trend(visits: Sequence[Visit]) -> Trend | None:
    same = [visit for visit in visits if visit.calibration_id == visits[-1].calibration_id]
    for chosen in (same, visits):
        months = [(visit.at - visits[0].at).total_seconds() / DAY_S / DAYS_A_MONTH for visit in chosen]
        found = trend_of(months, [visit.power_w for visit in chosen])
        if found is not None:
            return found
    return None


def _said(chart: ControlChart, powers: Sequence[float]) -> tuple[tuple[int, str], ...]:
    """Every point out of control once, with all the rules that it completes."""
    rules: dict[int, list[str]] = {}
    for signal in chart.signals:
        off = 100.0 * (powers[signal.place] / chart.centre - 1.0)
        words = rules.setdefault(signal.place, [f"{off:+.1f} % from the centre".replace("-", "−")])
        words.append(f"rule {signal.rule}: {RULES[signal.rule]}")
    for place in chart.range_signals:
        rules.setdefault(place, []).append("moving range beyond its limit: a sudden step from the visit before")
    return tuple((place, "; ".join(words)) for place, words in sorted(rules.items()))


def _shop_zone(session: Session) -> ZoneInfo:
    return ZoneInfo(session.execute(select(Shop.time_zone)).scalar_one_or_none() or "UTC")


def _changed_between(session: Session, one: CellChart, other: CellChart) -> str:
    """A sentence for each calibration that came into force in either cell while both were visited; else nothing.

    The first calibration of a cell changes nothing.
    """
    at = [visit.at for chart in (one, other) for visit in chart.visits]
    said = []
    for chart in (one, other):
        froms = session.scalars(
            select(Calibration.valid_from).where(Calibration.cell_id == chart.cell_id).order_by(Calibration.valid_from)
        ).all()
        changed = sorted({found for found in froms[1:] if min(at) < found <= max(at) and found > froms[0]})
        if changed:
            zone = _shop_zone(session)
            days = " and ".join(f"{found.astimezone(zone):%-d %b %Y}" for found in changed)
            said.append(
                f" {chart.cell_name}'s calibration changed on {days}, between the first of these visits and the last: "
                "what that changed is in this difference too."
            )
    return "".join(said)


def _apart(session: Session, charts: Sequence[CellChart]) -> tuple[CellsApart, ...]:
    made = []
    for one, other in combinations(charts, 2):
        first, second = ([visit.power_w for visit in chart.visits] for chart in (one, other))
        found = apart(first, second)
        if found is None:
            continue
        share = 100.0 / float(np.mean(first))
        difference, half = found.difference * share, found.half * share
        more = "more" if difference > 0.0 else "less"
        interval = f"{difference - half:+.1f} to {difference + half:+.1f} % at 95 %".replace("-", "−")
        words = (
            f"{other.cell_name} reads {abs(difference):.1f} % {more} than {one.cell_name} on this car ({interval}). "
            "Do not lay pulls from both over each other before that is explained: losses, J, tyres on other rollers, "
            "and the correction standard itself where the altitudes differ."
            if found.is_there
            else f"{one.cell_name} and {other.cell_name}: no difference that these visits could show ({interval})."
        )
        words += _changed_between(session, one, other)
        made.append(CellsApart(one.cell_name, other.cell_name, found, difference, half, words))
    return tuple(made)
