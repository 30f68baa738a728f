"""Asking for the air: vapour pressure, density and every standard's factor."""

from typing import Any

import pytest

from pullbook.api.air_factors import EXAMPLE
from pullbook.measure.correction import STANDARDS

MILD = {"air_temperature_c": 30.0, "station_pressure_kpa": 98.4, "relative_humidity_pct": 50.0}


def test_it_answers_every_standard(desk: Any) -> None:
    air = desk.get("/api/v1/air", params=MILD).json()
    assert set(air["factors"]) == set(STANDARDS)
    assert air["factors"]["observed"] == {
        "factor": 1.0,
        "valid": True,
        "limits": None,
        "title": STANDARDS["observed"].title,
        "note": air["factors"]["observed"]["note"],
    }
    dry = 98.4 - air["vapour_pressure_kpa"]
    assert air["dry_pressure_kpa"] == pytest.approx(dry, abs=1e-4)
    assert air["factors"]["iso_1585"]["factor"] == pytest.approx((99 / dry) ** 1.2 * (303 / 298) ** 0.6, abs=1e-5)
    assert air["density_kg_m3"] == pytest.approx(
        1000 * (dry / 287.05 + air["vapour_pressure_kpa"] / 461.5) / 303.15, rel=1e-3
    )


def test_the_three_forms_of_humidity_come_to_the_same(desk: Any) -> None:
    by_share = desk.get("/api/v1/air", params=MILD).json()
    without = {name: value for name, value in MILD.items() if name != "relative_humidity_pct"}
    by_dew_point = desk.get("/api/v1/air", params={**without, "dew_point_c": 18.44}).json()
    by_wet_bulb = desk.get("/api/v1/air", params={**without, "wet_bulb_c": 21.98}).json()
    assert by_dew_point["vapour_pressure_kpa"] == pytest.approx(by_share["vapour_pressure_kpa"], rel=2e-3)
    assert by_wet_bulb["vapour_pressure_kpa"] == pytest.approx(by_share["vapour_pressure_kpa"], rel=1e-2)


def test_outside_a_standards_limits_it_is_shown_and_marked(desk: Any) -> None:
    thin = desk.get("/api/v1/air", params={**MILD, "station_pressure_kpa": 80.0}).json()
    assert thin["factors"]["iso_1585"]["factor"] > 1.07
    assert thin["factors"]["iso_1585"]["valid"] is False


def test_an_altimeter_setting_needs_the_altitude(desk: Any) -> None:
    given = {"air_temperature_c": 20.0, "relative_humidity_pct": 40.0, "altimeter_setting_kpa": 101.3}
    assert desk.get("/api/v1/air", params=given).status_code == 422
    air = desk.get("/api/v1/air", params={**given, "altitude_m": 1680.0}).json()
    assert air["station_pressure_kpa"] == pytest.approx(82.7, abs=0.2)
    assert air["doubt"] is None


def test_a_sea_level_figure_at_altitude_is_doubted(desk: Any) -> None:
    doubt = desk.get("/api/v1/air", params={**MILD, "station_pressure_kpa": 101.3, "altitude_m": 1680.0}).json()[
        "doubt"
    ]
    assert "sea-level" in doubt


def test_the_example_in_the_description_is_what_is_answered(desk: Any) -> None:
    asked = {name: EXAMPLE[name] for name in ("air_temperature_c", "station_pressure_kpa", "relative_humidity_pct")}
    answer = desk.get("/api/v1/air", params=asked).json()
    assert {**answer, "factors": {"iso_1585": answer["factors"]["iso_1585"]}} == EXAMPLE


def test_a_diesel_has_its_own_factor(desk: Any) -> None:
    spark = desk.get("/api/v1/air", params=MILD).json()["factors"]["iso_1585"]["factor"]
    told = {**MILD, "ignition": "compression", "aspiration": "turbo", "fuel_per_litre_cycle_mg": 50.0}
    diesel = desk.get("/api/v1/air", params=told).json()["factors"]["iso_1585"]["factor"]
    assert diesel != spark


@pytest.mark.parametrize(
    "changes",
    [{"dew_point_c": 10.0}, {"relative_humidity_pct": 101}, {"station_pressure_kpa": 984}, {"humidity": 4}],
)
def test_what_cannot_be_is_refused(desk: Any, changes: dict[str, Any]) -> None:
    answer = desk.get("/api/v1/air", params={**MILD, **changes})
    assert answer.status_code == 422
    assert answer.json()["problems"]
