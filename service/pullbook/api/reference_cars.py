"""Reference cars: pulled every so often to see whether the rollers are steady."""

from typing import Annotated, Any, Literal

import numpy as np
from fastapi import Path, Response
from pydantic import Field, model_validator
from sqlalchemy import select

from pullbook.api.editing import apply, locked, record_making, refuse_stale
from pullbook.api.shaping import UNSET, Answer, Asked, Id, Instant, Name, Words, changes_of
from pullbook.db.tables import Vehicle
from pullbook.db.tuning import ReferenceCar
from pullbook.deps import Now, ReadSession, SettingsDep, SignedIn, Tuner, WriteSession
from pullbook.errors import Clash, FieldProblem, Invalid, NotFound
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.measure.controlchart import FEWEST_FIRST, ControlChart
from pullbook.shop.reading import ReadSettings, refuse_unknown_standard
from pullbook.shop.watching import TO_DO, CellChart, Watched, watch

router = LateRouter(prefix="/api/v1/reference-cars", tags=["reference cars"])
CarId = Annotated[str, Path(description="The reference car's id.")]
Speed = Annotated[float, Field(ge=300, le=20_000, description="Engine speed, rev/min.")]
First = Annotated[int, Field(ge=FEWEST_FIRST, le=60, description="How many first visits set the limits.")]
Standard = Annotated[str, Field(max_length=40, description="The standard it is always read in.")]


class NewReferenceCar(Asked):
    """A car that stays as it is, and how it is read: mean power over a band in one standard."""

    vehicle_id: Id
    name: Name
    standard: Standard = "iso_1585"
    band_low_rpm: Speed
    band_high_rpm: Speed
    first_pulls: First = 6
    note: Words = ""

    @model_validator(mode="after")
    def _band(self) -> "NewReferenceCar":
        if self.band_high_rpm <= self.band_low_rpm:
            raise ValueError(f"band_high_rpm: {self.band_high_rpm:g} is not above band_low_rpm {self.band_low_rpm:g}")
        return self


class ReferenceCarChange(Asked):
    """What to change; `version` is the one last read. Retired, it stays on record and is no longer asked for."""

    version: int
    name: Name = UNSET
    standard: Standard = UNSET
    band_low_rpm: Speed = UNSET
    band_high_rpm: Speed = UNSET
    first_pulls: First = UNSET
    note: Words = UNSET
    retired: bool = UNSET


class ReferenceCarAnswer(Answer):
    """A reference car on record."""

    id: str
    vehicle_id: str
    name: str
    standard: str
    band_low_rpm: float
    band_high_rpm: float
    first_pulls: int
    note: str
    made_at: Instant
    retired_at: Instant | None
    version: int


class ReferenceCarList(Answer):
    """All of them, by name; retired ones last."""

    items: list[ReferenceCarAnswer]


class VisitAnswer(Answer):
    """One point: mean corrected power over the band, of a day's pulls. `out_of_control` says which rules it breaks."""

    at: Instant
    power_w: float
    moving_range_w: float | None
    spread_w: float | None
    pull_ids: list[str]
    calibration_id: str | None
    out_of_control: str | None


class LimitsAnswer(Answer):
    """Centre and limits, W, set by the first visits: three sigma by the mean moving range."""

    set_by: int
    centre_w: float
    sigma_w: float
    lower_w: float
    upper_w: float
    mean_range_w: float
    range_limit_w: float


class CellChartAnswer(Answer):
    """A cell's control chart; `limits` null while it waits for visits. The trend comes with half its 95 % interval."""

    cell_id: str
    cell_name: str
    visits: list[VisitAnswer]
    limits: LimitsAnswer | None
    waits: str
    trend_w_per_month: float | None
    trend_half_w_per_month: float | None
    trend_is_there: bool
    calibrated_at: list[Instant]
    is_steady: bool | None


class CellsApartAnswer(Answer):
    """Two cells through the car, second less first, with half the 95 % interval."""

    first: str
    second: str
    difference_w: float
    half_w: float
    difference_pct: float
    half_pct: float
    kind: Literal["different", "not_told_apart"]
    words: str


class WatchedAnswer(ReferenceCarAnswer):
    """A reference car and everything it says."""

    charts: list[CellChartAnswer]
    cells_apart: list[CellsApartAnswer]
    left_out: list[dict[str, str]]
    to_do: str


COLUMNS = tuple(getattr(ReferenceCar, name) for name in ReferenceCarAnswer.model_fields)


def _facts(row: ReferenceCar) -> dict[str, Any]:
    return {name: getattr(row, name) for name in ReferenceCarAnswer.model_fields}


@router.post("", status_code=201, summary="Make a car the reference", response_model=ReferenceCarAnswer)
def add(asked: NewReferenceCar, person: Tuner, session: WriteSession, now: Now) -> Response:
    """From now on its pulls say whether the rollers are steady, those already taken too."""
    refuse_unknown_standard(asked.standard)
    if session.execute(select(Vehicle.id).where(Vehicle.id == asked.vehicle_id)).one_or_none() is None:
        problem = FieldProblem("vehicle_id", asked.vehicle_id, "the id of a car on record")
        raise Invalid(f"There is no vehicle {asked.vehicle_id}.", problem)
    there = session.execute(select(ReferenceCar.name).where(ReferenceCar.vehicle_id == asked.vehicle_id)).scalar()
    if there is not None:
        problem = FieldProblem("vehicle_id", asked.vehicle_id, "another car, or change the reference that is there")
        raise Clash(f"This car is a reference already: {there}.", problem)
    row = ReferenceCar(**asked.model_dump(), made_at=now, made_by=person.id)
    session.add(row)
    session.flush()
    record_making(session, now, person.id, row, asked.model_dump(), "reference car")
    return Json(_facts(row), 201)


@router.get("", summary="All reference cars", response_model=ReferenceCarList)
def several(person: SignedIn, session: ReadSession) -> Response:
    """By name; those that are retired come last."""
    rows = session.execute(select(*COLUMNS).order_by(ReferenceCar.retired_at.isnot(None), ReferenceCar.name))
    return Json({"items": [dict(row._mapping) for row in rows]})


@router.get("/{reference_car_id}", summary="What a reference car says", response_model=WatchedAnswer)
def get(reference_car_id: CarId, person: SignedIn, session: ReadSession, settings: SettingsDep) -> Response:
    """A control chart for each cell it was pulled in, and the cells held against each other; read anew."""
    row = session.get(ReferenceCar, reference_car_id)
    if row is None:
        raise NotFound(f"There is no reference car {reference_car_id}.")
    wanted = ReadSettings(row.standard, weather_stale_minutes=settings.weather_stale_minutes, channels=frozenset())
    return Json(_watched_facts(watch(session, row, wanted)))


@router.patch("/{reference_car_id}", summary="Change a reference car", response_model=ReferenceCarAnswer)
def change(
    reference_car_id: CarId, asked: ReferenceCarChange, person: Tuner, session: WriteSession, now: Now
) -> Response:
    """Only the fields sent; nothing it was pulled for is lost."""
    row, changes = locked(session, ReferenceCar, reference_car_id, "reference car"), changes_of(asked)
    if "retired" in changes:
        retired = changes.pop("retired")
        changes["retired_at"] = (row.retired_at or now) if retired else None
    refuse_stale(row, asked.version, changes, "reference car")
    if "standard" in changes:
        refuse_unknown_standard(changes["standard"])
    low = changes.get("band_low_rpm", row.band_low_rpm)
    high = changes.get("band_high_rpm", row.band_high_rpm)
    if high <= low:
        problem = FieldProblem("band_high_rpm", high, f"above {low:g} rev/min")
        raise Invalid("The band's upper end must be above its lower.", problem)
    apply(session, now, person.id, row, changes, "reference car")
    session.flush()
    return Json(_facts(row))


def _watched_facts(watched: Watched) -> dict[str, Any]:
    return {
        **_facts(watched.car),
        "charts": [_chart_facts(chart) for chart in watched.charts],
        "cells_apart": [
            {
                "first": one.first,
                "second": one.second,
                "difference_w": one.apart.difference,
                "half_w": one.apart.half,
                "difference_pct": one.difference_pct,
                "half_pct": one.half_pct,
                "kind": "different" if one.apart.is_there else "not_told_apart",
                "words": one.words,
            }
            for one in watched.cells_apart
        ],
        "left_out": [{"pull_id": pull_id, "why": why} for pull_id, why in watched.left_out],
        "to_do": TO_DO,
    }


def _chart_facts(chart: CellChart) -> dict[str, Any]:
    said = dict(chart.said)
    ranges = [None, *np.abs(np.diff([visit.power_w for visit in chart.visits])).tolist()]
    return {
        "cell_id": chart.cell_id,
        "cell_name": chart.cell_name,
        "visits": [
            {
                "at": visit.at,
                "power_w": round(visit.power_w, 1),
                "moving_range_w": ranges[place],
                "spread_w": visit.spread_w,
                "pull_ids": list(visit.pull_ids),
                "calibration_id": visit.calibration_id,
                "out_of_control": said.get(place),
            }
            for place, visit in enumerate(chart.visits)
        ],
        "limits": _limits(chart.chart),
        "waits": chart.waits,
        "trend_w_per_month": None if chart.trend is None else chart.trend.slope,
        "trend_half_w_per_month": None if chart.trend is None else chart.trend.half,
        "trend_is_there": chart.trend is not None and chart.trend.is_there,
        "calibrated_at": list(chart.calibrated_at),
        "is_steady": chart.is_steady,
    }


def _limits(chart: ControlChart | None) -> dict[str, Any] | None:
    if chart is None:
        return None
    return {
        "set_by": chart.set_by,
        "centre_w": chart.centre,
        "sigma_w": chart.sigma,
        "lower_w": chart.lower,
        "upper_w": chart.upper,
        "mean_range_w": chart.mean_range,
        "range_limit_w": chart.range_limit,
    }
