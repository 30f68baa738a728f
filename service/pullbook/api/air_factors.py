"""Air: what a temperature, a pressure and a humidity come to, and every standard's factor for them."""

from typing import Annotated, Any, Literal

from fastapi import Query, Response
from pydantic import Field, model_validator

from pullbook.api.shaping import Answer, Asked, one_of
from pullbook.api.weather import (
    HUMIDITY_KINDS,
    AirTemperature,
    AltimeterSetting,
    DewPoint,
    RelativeHumidity,
    StationPressure,
    WetBulb,
)
from pullbook.deps import SignedIn
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.measure.air import Air, pressure_doubt, station_pressure_kpa
from pullbook.measure.correction import STANDARDS, Engine, factor
from pullbook.shop.weather_matching import air_of

router = LateRouter(prefix="/api/v1/air", tags=["air"])


class AirAsked(Asked):
    """Temperature, one of two pressures, one of three humidities; the engine only matters to some factors."""

    air_temperature_c: AirTemperature
    station_pressure_kpa: StationPressure | None = None
    altimeter_setting_kpa: AltimeterSetting | None = None
    altitude_m: Annotated[float, Field(ge=-500, le=6000, description="Needed with an altimeter setting.")] | None = None
    relative_humidity_pct: RelativeHumidity | None = None
    dew_point_c: DewPoint | None = None
    wet_bulb_c: WetBulb | None = None
    ignition: Literal["spark", "compression"] = "spark"
    aspiration: Literal["natural", "mechanical", "turbo"] = "natural"
    fuel_per_litre_cycle_mg: Annotated[float, Field(gt=0, le=1000)] | None = None

    @model_validator(mode="after")
    def _one_of_each(self) -> "AirAsked":
        one_of(self, "station_pressure_kpa", "altimeter_setting_kpa")
        one_of(self, *HUMIDITY_KINDS)
        if self.altimeter_setting_kpa is not None and self.altitude_m is None:
            raise ValueError("altimeter_setting_kpa needs altitude_m beside it")
        return self


class FactorAnswer(Answer):
    """One standard's factor. `valid` is false outside the standard's own limits; it is shown all the same."""

    factor: float
    valid: bool
    limits: tuple[float, float] | None
    title: str
    note: str


class AirAnswer(Answer):
    """The air, and what every standard makes of it."""

    air_temperature_c: float
    station_pressure_kpa: float
    vapour_pressure_kpa: float
    dry_pressure_kpa: float
    density_kg_m3: float
    relative_humidity_pct: float
    doubt: str | None
    factors: dict[str, FactorAnswer]


EXAMPLE = {
    "air_temperature_c": 30.0,
    "station_pressure_kpa": 98.4,
    "vapour_pressure_kpa": 2.12302,
    "dry_pressure_kpa": 96.27698,
    "density_kg_m3": 1.12154,
    "relative_humidity_pct": 50.0,
    "doubt": None,
    "factors": {
        "iso_1585": {
            "factor": 1.04441,
            "valid": True,
            "limits": [0.93, 1.07],
            "title": "ISO 1585, UN R85",
            "note": "Written for the crankshaft on an engine bench; used at the wheels by common practice.",
        }
    },
}


def air_facts(air: Air) -> dict[str, float]:
    """An air as answered, rounded to what any instrument could tell."""
    return {
        "air_temperature_c": round(air.temperature_c, 3),
        "station_pressure_kpa": round(air.pressure_kpa, 4),
        "vapour_pressure_kpa": round(air.vapour_pressure_kpa, 5),
        "dry_pressure_kpa": round(air.dry_pressure_kpa, 5),
        "density_kg_m3": round(air.density_kg_m3, 5),
        "relative_humidity_pct": round(air.relative_humidity_pct, 2),
    }


def _factors(air: Air, engine: Engine) -> dict[str, Any]:
    found = {}
    for identifier, standard in STANDARDS.items():
        of_it = factor(identifier, air, engine)
        found[identifier] = {
            "factor": round(of_it.value, 6),
            "valid": of_it.valid,
            "limits": of_it.limits,
            "title": standard.title,
            "note": of_it.note,
        }
    return found


@router.get(
    "",
    summary="Air and correction factors",
    response_model=AirAnswer,
    responses={200: {"content": {"application/json": {"example": EXAMPLE}}}},
)
def get(asked: Annotated[AirAsked, Query()], person: SignedIn) -> Response:
    """Nothing is stored. Vapour pressure by Hyland and Wexler 1983; factors by each standard's own formula."""
    pressure = asked.station_pressure_kpa
    if pressure is None:
        pressure = station_pressure_kpa(asked.altimeter_setting_kpa or 0.0, asked.altitude_m or 0.0)
    field = one_of(asked, *HUMIDITY_KINDS)
    air = air_of(asked.air_temperature_c, pressure, HUMIDITY_KINDS[field], getattr(asked, field))
    doubt = None if asked.altitude_m is None else pressure_doubt(pressure, asked.altitude_m)
    engine = Engine(asked.ignition, asked.aspiration, asked.fuel_per_litre_cycle_mg)
    return Json({**air_facts(air), "doubt": doubt, "factors": _factors(air, engine)})
