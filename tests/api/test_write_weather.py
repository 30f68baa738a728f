"""Writing down the weather: any form of humidity, either pressure, doubts, corrections."""

from datetime import timedelta
from typing import Any

import pytest

from tests.furnishing import START, WEATHER


def _reading(cell_id: str, **changes: Any) -> dict[str, Any]:
    asked = {"cell_id": cell_id, **WEATHER, **changes}
    return {name: value for name, value in asked.items() if value is not None}


@pytest.mark.parametrize(
    ("given", "kind"),
    [
        ({"relative_humidity_pct": 50.0}, "relative_pct"),
        ({"relative_humidity_pct": None, "dew_point_c": 9.2}, "dew_point_c"),
        ({"relative_humidity_pct": None, "wet_bulb_c": 13.4}, "wet_bulb_c"),
    ],
)
def test_humidity_comes_in_any_of_three_forms(desk: Any, house: Any, given: dict[str, Any], kind: str) -> None:
    answer = desk.post("/api/v1/weather", json=_reading(house.cell_id, **given))
    assert answer.status_code == 201, answer.text
    kept = answer.json()
    assert kept["humidity_kind"] == kind
    assert kept["humidity_value"] == next(value for value in given.values() if value is not None)
    assert 1.0 < kept["vapour_pressure_kpa"] < 1.3
    assert 45 < kept["relative_humidity_pct"] < 62
    assert kept["doubt"] is None
    assert desk.get(f"/api/v1/weather/{kept['id']}").json() == kept


def test_an_altimeter_setting_becomes_station_pressure_at_the_cells_altitude(owner: Any, house: Any) -> None:
    high = {"name": "High", "drive": "all_wheel", "has_brake": False, "altitude_m": 1680.0}
    cell_id = owner.post("/api/v1/cells", json=high).json()["id"]
    asked = _reading(cell_id, station_pressure_kpa=None, altimeter_setting_kpa=101.3)
    kept = owner.post("/api/v1/weather", json=asked).json()
    assert kept["altimeter_setting_kpa"] == 101.3
    assert kept["station_pressure_kpa"] == pytest.approx(82.7, abs=0.2)
    assert kept["doubt"] is None


def test_a_sea_level_figure_at_altitude_is_kept_and_doubted(owner: Any, house: Any) -> None:
    high = {"name": "High", "drive": "all_wheel", "has_brake": False, "altitude_m": 1680.0}
    cell_id = owner.post("/api/v1/cells", json=high).json()["id"]
    kept = owner.post("/api/v1/weather", json=_reading(cell_id, station_pressure_kpa=101.3)).json()
    assert kept["station_pressure_kpa"] == 101.3
    assert "sea-level" in kept["doubt"]


def test_a_correction_takes_the_place_and_the_old_one_stays(desk: Any, house: Any) -> None:
    corrected = _reading(house.cell_id, air_temperature_c=19.5, supersedes_id=house.weather_id)
    newer = desk.post("/api/v1/weather", json=corrected).json()
    log = desk.get("/api/v1/weather", params={"cell_id": house.cell_id}).json()["items"]
    assert {one["id"]: one["superseded_by_id"] for one in log} == {newer["id"]: None, house.weather_id: newer["id"]}
    twice = desk.post("/api/v1/weather", json=corrected)
    assert twice.status_code == 409
    assert newer["id"] in twice.json()["problems"][0]["would_do"]


def test_a_reading_of_another_cell_cannot_be_corrected_here(owner: Any, house: Any) -> None:
    other = {"name": "Two", "drive": "all_wheel", "has_brake": False, "altitude_m": 120.0}
    cell_id = owner.post("/api/v1/cells", json=other).json()["id"]
    answer = owner.post("/api/v1/weather", json=_reading(cell_id, supersedes_id=house.weather_id))
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["field"] == "supersedes_id"


def test_the_log_is_by_the_time_read_a_page_at_a_time(desk: Any, house: Any) -> None:
    for minutes in (30, 10, 50, 20, 40):
        at = (START - timedelta(minutes=minutes)).isoformat()
        desk.post("/api/v1/weather", json=_reading(house.cell_id, read_at=at))
    times, cursor = [], None
    for _ in range(3):
        asked = {"cell_id": house.cell_id, "limit": 2, **({"cursor": cursor} if cursor else {})}
        page = desk.get("/api/v1/weather", params=asked).json()
        times += [one["read_at"] for one in page["items"]]
        cursor = page["next"]
    assert cursor is None
    assert len(times) == 6
    assert times == sorted(times, reverse=True)


@pytest.mark.parametrize(
    ("changes", "named"),
    [
        ({"relative_humidity_pct": None}, "relative_humidity_pct, dew_point_c, wet_bulb_c"),
        ({"dew_point_c": 9.0}, "relative_humidity_pct and dew_point_c"),
        ({"station_pressure_kpa": None}, "station_pressure_kpa, altimeter_setting_kpa"),
        ({"altimeter_setting_kpa": 101.0}, "station_pressure_kpa and altimeter_setting_kpa"),
        ({"station_pressure_kpa": 1013.0}, "station_pressure_kpa"),
        ({"air_temperature_c": 295.0}, "air_temperature_c"),
        ({"relative_humidity_pct": None, "dew_point_c": 30.0}, "dew_point_c"),
        ({"relative_humidity_pct": None, "wet_bulb_c": 3.0}, "wet_bulb_c"),
        ({"read_at": (START + timedelta(minutes=3)).isoformat()}, "ahead of the shop's clock"),
        ({"cell_id": "0123456789abc"}, "no cell"),
        ({"source": ""}, "source"),
    ],
)
def test_it_says_what_cannot_be(desk: Any, house: Any, changes: dict[str, Any], named: str) -> None:
    answer = desk.post("/api/v1/weather", json=_reading(**{"cell_id": house.cell_id, **changes}))
    assert answer.status_code == 422, answer.text
    assert named in answer.text
