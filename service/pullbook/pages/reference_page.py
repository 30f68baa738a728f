"""Reference cars as their pages show them: whether each cell is steady, with the chart and the table beneath it."""

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from fastapi import Request
from sqlalchemy import select
from sqlalchemy.orm import Session
from starlette.responses import Response

from pullbook.control_chart_svg import CHART_NARROW, control_chart_svg
from pullbook.db.evidence import Pull
from pullbook.db.tables import Cell, Ticket, Vehicle
from pullbook.db.tuning import ReferenceCar
from pullbook.deps import PagePerson, ReadSession, SettingsDep
from pullbook.errors import NotFound
from pullbook.late_routes import LateRouter
from pullbook.measure.correction import STANDARDS
from pullbook.pages.finding import vehicle_title
from pullbook.pages.render import draw, frame, shop_row, units_of
from pullbook.pages.rollers_shown import CarBrief, ChartShown, ReferencePage, RollersPage, VisitLine
from pullbook.shop.reading import ReadSettings
from pullbook.shop.watching import TO_DO, CellChart, watch
from pullbook.shown_units import ShownUnits

router = LateRouter(include_in_schema=False)
FEWEST_PULLS = 2
CARS_OFFERED = 60


@router.get("/reference-cars")
def rollers(request: Request, session: ReadSession, person: PagePerson, settings: SettingsDep) -> Response:
    """Whether the rollers are steady: cells with their evidence, and the cars that watch them."""
    shop = shop_row(session)
    cells = session.execute(select(Cell.id, Cell.name).order_by(Cell.name)).all()
    cars = session.execute(
        select(ReferenceCar, Vehicle)
        .join(Vehicle, Vehicle.id == ReferenceCar.vehicle_id)
        .order_by(ReferenceCar.retired_at.isnot(None), ReferenceCar.name)
    ).all()
    page = RollersPage(
        cells=tuple((row.id, row.name) for row in cells),
        cars=tuple(_brief(session, car, vehicle, settings) for car, vehicle in cars),
        vehicles=_may_become_one(session),
        standards=tuple((one.identifier, one.title) for one in STANDARDS.values()),
        default_standard=shop.default_standard if shop else "iso_1585",
    )
    return draw(frame(request, shop, person, "rollers"), page)


@router.get("/reference-cars/{car_id}")
def reference(
    request: Request, car_id: str, session: ReadSession, person: PagePerson, settings: SettingsDep
) -> Response:
    """One car's control charts, cell by cell."""
    shop = shop_row(session)
    zone = ZoneInfo(shop.time_zone if shop else "UTC")
    page = read_reference_page(session, car_id, settings.weather_stale_minutes, units_of(shop), zone)
    return draw(frame(request, shop, person, "rollers"), page)


def read_reference_page(
    session: Session, car_id: str, stale_minutes: int, units: ShownUnits, zone: ZoneInfo
) -> ReferencePage:
    """The page; NotFound for an unknown car."""
    car = session.get(ReferenceCar, car_id)
    if car is None:
        raise NotFound("There is no such reference car.")
    watched = watch(session, car, _settings(car, stale_minutes))
    return ReferencePage(
        car=car,
        vehicle_title=_title(watched.vehicle),
        standard_title=STANDARDS[car.standard].title,
        charts=tuple(_chart(chart, units, zone) for chart in watched.charts),
        cells_apart=watched.cells_apart,
        left_out=watched.left_out,
        to_do=TO_DO,
    )


def _settings(car: ReferenceCar, stale_minutes: int) -> ReadSettings:
    return ReadSettings(car.standard, weather_stale_minutes=stale_minutes, channels=frozenset())


def _title(vehicle: Vehicle) -> str:
    return vehicle_title(vehicle.model_year, vehicle.make, vehicle.model)


def _brief(session: Session, car: ReferenceCar, vehicle: Vehicle, settings: Any) -> CarBrief:
    if car.retired_at is not None:
        return CarBrief(car, _title(vehicle), ())
    charts = watch(session, car, _settings(car, settings.weather_stale_minutes)).charts
    return CarBrief(car, _title(vehicle), tuple((chart.cell_name, _stands(chart)) for chart in charts))


def _stands(chart: CellChart) -> str:
    if chart.is_steady is None:
        return f"{len(chart.visits)} visits so far, limits not set yet"
    return "steady" if chart.is_steady else "out of control at the latest visit"


def _may_become_one(session: Session) -> tuple[tuple[str, str], ...]:
    taken = select(ReferenceCar.vehicle_id)
    rows = session.execute(
        select(Vehicle, Ticket.vehicle_id)
        .join(Ticket, Ticket.vehicle_id == Vehicle.id)
        .join(Pull, Pull.ticket_id == Ticket.id)
        .where(Vehicle.id.not_in(taken))
        .distinct()
        .order_by(Vehicle.make, Vehicle.model, Vehicle.id)
        .limit(CARS_OFFERED)
    )
    return tuple((vehicle.id, f"{_title(vehicle)} {vehicle.plate}".strip()) for vehicle, _ in rows)


def _chart(chart: CellChart, units: ShownUnits, zone: ZoneInfo) -> ChartShown:
    said = dict(chart.said)
    powers = [visit.power_w for visit in chart.visits]
    lines = [
        VisitLine(
            at=visit.at,
            power=units.text(visit.power_w, "power", 2),
            moving_range=units.text(abs(powers[place] - powers[place - 1]), "power", 2) if place else "–",
            pull_ids=visit.pull_ids,
            out_of_control=said.get(place, ""),
        )
        for place, visit in enumerate(chart.visits)
    ]
    return ChartShown(
        cell_id=chart.cell_id,
        cell_name=chart.cell_name,
        verdict=_verdict(chart, zone),
        is_steady=chart.is_steady,
        trend=_trend(chart, units),
        limits=_limits(chart, units),
        wide_svg=control_chart_svg(chart, units, zone),
        narrow_svg=control_chart_svg(chart, units, zone, CHART_NARROW),
        lines=tuple(reversed(lines)),
    )


def _verdict(chart: CellChart, zone: ZoneInfo) -> str:
    if chart.is_steady is None:
        return f"Not to be said yet: {chart.waits}"
    out = [chart.visits[place].at for place, _ in chart.said]
    if not out:
        return "Steady: no visit breaks a rule."
    first, last = (_day(at, zone) for at in (out[0], out[-1]))
    when = f"on {first}" if first == last else f"from {first} to {last}"
    if chart.is_steady:
        return f"Steady now: the latest visit breaks no rule. It was out of control {when}."
    return f"Out of control at the latest visit; first seen {first}."


def _day(at: datetime, zone: ZoneInfo) -> str:
    return at.astimezone(zone).strftime("%-d %b %Y")


def _trend(chart: CellChart, units: ShownUnits) -> str:
    if chart.trend is None:
        return "Too few visits for a trend."
    slope = units.text(abs(chart.trend.slope), "power", 2)
    half = units.text(chart.trend.half, "power", 2)
    if not chart.trend.is_there:
        return f"No drift that the visits under this calibration could show (within {half} a month)."
    way = "rises" if chart.trend.slope > 0.0 else "falls"
    return f"It {way} by {slope} a month (± {half}) under this calibration."


def _limits(chart: CellChart, units: ShownUnits) -> str:
    if chart.chart is None:
        return ""
    low, centre, high = (
        units.text(value, "power", 2) for value in (chart.chart.lower, chart.chart.centre, chart.chart.upper)
    )
    return f"Centre {centre}, limits {low} to {high}, set by the first {chart.chart.set_by} visits."
