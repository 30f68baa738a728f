"""Weather: the air of a cell as somebody or something read it. A correction supersedes; the old reading stays."""

from datetime import datetime
from typing import Annotated, Any, Literal

from fastapi import Query, Response
from pydantic import Field, model_validator
from sqlalchemy import select
from sqlalchemy.orm import Session, aliased

from pullbook.api.editing import record_making
from pullbook.api.listing import Cursor, Limit, page
from pullbook.api.shaping import Answer, Asked, Id, Instant, Name, one_of
from pullbook.db.tables import Cell, Staff, WeatherReading
from pullbook.deps import Desk, Now, ReadSession, SignedIn, WriteSession
from pullbook.errors import Clash, FieldProblem, Invalid, NotFound
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.measure.air import pressure_doubt, station_pressure_kpa
from pullbook.shop.chaining import enter as enter_in_chain
from pullbook.shop.weather_matching import air_of, refuse_future

router = LateRouter(prefix="/api/v1/weather", tags=["weather"])

AirTemperature = Annotated[float, Field(ge=-60, le=70, description="Of the air the engine takes in, in °C.")]
StationPressure = Annotated[float, Field(ge=40, le=115, description="What a barometer in the cell reads, in kPa.")]
AltimeterSetting = Annotated[
    float, Field(ge=85, le=110, description="What an airfield or a forecast quotes, brought down to sea level, in kPa.")
]
RelativeHumidity = Annotated[float, Field(ge=0, le=100, description="In %.")]
DewPoint = Annotated[float, Field(ge=-90, le=70, description="In °C; not above the air temperature.")]
WetBulb = Annotated[float, Field(ge=-60, le=70, description="In °C; not above the air temperature.")]
HUMIDITY_KINDS = {
    "relative_humidity_pct": "relative_pct",
    "dew_point_c": "dew_point_c",
    "wet_bulb_c": "wet_bulb_c",
}


class NewReading(Asked):
    """One reading: temperature, one of two pressures, one of three forms of humidity."""

    cell_id: Id
    read_at: Instant
    air_temperature_c: AirTemperature
    station_pressure_kpa: StationPressure | None = None
    altimeter_setting_kpa: AltimeterSetting | None = None
    relative_humidity_pct: RelativeHumidity | None = None
    dew_point_c: DewPoint | None = None
    wet_bulb_c: WetBulb | None = None
    source: Name
    supersedes_id: Id | None = None

    @model_validator(mode="after")
    def _one_of_each(self) -> "NewReading":
        one_of(self, "station_pressure_kpa", "altimeter_setting_kpa")
        one_of(self, *HUMIDITY_KINDS)
        return self


class ReadingAnswer(Answer):
    """A reading on record. `doubt` says in words why it is questioned; null when it is not."""

    id: str
    cell_id: str
    cell_name: str
    read_at: Instant
    air_temperature_c: float
    station_pressure_kpa: float
    altimeter_setting_kpa: float | None
    humidity_kind: Literal["relative_pct", "dew_point_c", "wet_bulb_c"]
    humidity_value: float
    relative_humidity_pct: float
    vapour_pressure_kpa: float
    source: str
    doubt: str | None
    supersedes_id: str | None
    superseded_by_id: str | None
    made_at: Instant
    made_by_name: str


class ReadingList(Answer):
    """A page of readings, the latest first."""

    items: list[ReadingAnswer]
    next: str | None


_NEWER = aliased(WeatherReading)
_WORKED_OUT = ("cell_name", "relative_humidity_pct", "vapour_pressure_kpa", "superseded_by_id", "made_by_name")
SELECTED = (
    select(
        *(getattr(WeatherReading, name) for name in ReadingAnswer.model_fields if name not in _WORKED_OUT),
        Cell.name.label("cell_name"),
        Staff.full_name.label("made_by_name"),
        _NEWER.id.label("superseded_by_id"),
    )
    .join(Cell, Cell.id == WeatherReading.cell_id)
    .join(Staff, Staff.id == WeatherReading.made_by)
    .outerjoin(_NEWER, _NEWER.supersedes_id == WeatherReading.id)
)


def _answer(row: Any) -> dict[str, Any]:
    air = air_of(row.air_temperature_c, row.station_pressure_kpa, row.humidity_kind, row.humidity_value)
    return {
        **row._mapping,
        "relative_humidity_pct": round(air.relative_humidity_pct, 2),
        "vapour_pressure_kpa": round(air.vapour_pressure_kpa, 5),
    }


def _refuse_wrong_succession(session: Session, asked: NewReading) -> None:
    old = session.execute(
        select(WeatherReading.cell_id, _NEWER.id.label("newer_id"))
        .outerjoin(_NEWER, _NEWER.supersedes_id == WeatherReading.id)
        .where(WeatherReading.id == asked.supersedes_id)
    ).one_or_none()
    if old is None or old.cell_id != asked.cell_id:
        raise Invalid(
            f"There is no weather reading {asked.supersedes_id} of this cell.",
            FieldProblem("supersedes_id", asked.supersedes_id, "the id of a reading of the same cell"),
        )
    if old.newer_id is not None:
        raise Clash(
            "That reading has been corrected already.",
            FieldProblem("supersedes_id", asked.supersedes_id, f"{old.newer_id}, which took its place"),
        )


def _new_row(asked: NewReading, altitude_m: float) -> WeatherReading:
    pressure = asked.station_pressure_kpa
    if pressure is None:
        assert asked.altimeter_setting_kpa is not None  # noqa: S101  one of the two was asked for
        pressure = station_pressure_kpa(asked.altimeter_setting_kpa, altitude_m)
    field = next(name for name in HUMIDITY_KINDS if getattr(asked, name) is not None)
    kind, value = HUMIDITY_KINDS[field], getattr(asked, field)
    air_of(asked.air_temperature_c, pressure, kind, value)  # refuses what no air can be
    return WeatherReading(
        cell_id=asked.cell_id,
        read_at=asked.read_at,
        air_temperature_c=asked.air_temperature_c,
        station_pressure_kpa=pressure,
        altimeter_setting_kpa=asked.altimeter_setting_kpa,
        humidity_kind=kind,
        humidity_value=value,
        source=asked.source,
        doubt=pressure_doubt(pressure, altitude_m),
        supersedes_id=asked.supersedes_id,
    )


def enter(session: Session, asked: NewReading, staff_id: str, now: datetime) -> str:
    """Write a reading down; gives its id. Invalid names what no cell, clock or air can be."""
    altitude_m = session.execute(select(Cell.altitude_m).where(Cell.id == asked.cell_id)).scalar_one_or_none()
    if altitude_m is None:
        raise Invalid(
            f"There is no cell {asked.cell_id}.", FieldProblem("cell_id", asked.cell_id, "the id of a cell on record")
        )
    refuse_future("read_at", asked.read_at, now)
    if asked.supersedes_id is not None:
        _refuse_wrong_succession(session, asked)
    row = _new_row(asked, altitude_m)
    row.made_at, row.made_by = now, staff_id
    session.add(row)
    session.flush()
    record_making(session, now, staff_id, row, asked.model_dump(exclude_none=True), "weather_reading")
    enter_in_chain(session, now, "weather", row.id)
    return row.id


@router.post("", status_code=201, summary="Write down the weather", response_model=ReadingAnswer)
def add(asked: NewReading, person: Desk, session: WriteSession, now: Now) -> Response:
    """A pressure that does not fit the cell's altitude is kept and questioned, never silently used or refused."""
    reading_id = enter(session, asked, person.id, now)
    return Json(_answer(session.execute(SELECTED.where(WeatherReading.id == reading_id)).one()), 201)


@router.get("", summary="The weather log", response_model=ReadingList)
def several(
    person: SignedIn,
    session: ReadSession,
    cell_id: Annotated[str | None, Query(description="Only this cell's.")] = None,
    cursor: Cursor = None,
    limit: Limit = 50,
) -> Response:
    """By the time read, latest first; readings that were corrected stay in it and name what took their place."""
    statement = SELECTED if cell_id is None else SELECTED.where(WeatherReading.cell_id == cell_id)
    rows, following = page(session, statement, [WeatherReading.read_at, WeatherReading.id], cursor, limit)
    return Json({"items": [_answer(row) for row in rows], "next": following})


@router.get("/{reading_id}", summary="One weather reading", response_model=ReadingAnswer)
def get(reading_id: str, person: SignedIn, session: ReadSession) -> Response:
    """As it is on record now."""
    row = session.execute(SELECTED.where(WeatherReading.id == reading_id)).one_or_none()
    if row is None:
        raise NotFound(f"There is no weather reading {reading_id}.")
    return Json(_answer(row))
