"""Temperatures and speeds in the shop's own units; what is kept never changes with them."""

import re
from typing import Any

import pytest

from tests.api.pull_files import Steady, filed
from tests.api.test_set_limits import _hot
from tests.furnishing import WEATHER

SHOWN = {"temperature_unit": "°F", "speed_unit": "mph", "pressure_unit": "inHg"}


@pytest.fixture
def abroad(owner: Any, house: Any) -> Any:
    """The owner of a shop that reads °F, mph and inches of mercury."""
    kept = owner.put("/api/v1/shop", json={**owner.get("/api/v1/shop").json(), **SHOWN})
    assert kept.status_code == 200, kept.text
    assert {name: kept.json()[name] for name in SHOWN} == SHOWN
    return owner


def test_weather_is_shown_in_them_and_kept_in_its_own(abroad: Any, house: Any) -> None:
    page = abroad.get("/weather").text
    fahrenheit = WEATHER["air_temperature_c"] * 9.0 / 5.0 + 32.0
    assert f"{fahrenheit:.1f}\u00a0°F" in page
    assert "Air temperature, °F" in page
    assert abroad.get("/api/v1/weather").json()["items"][0]["air_temperature_c"] == WEATHER["air_temperature_c"]


def test_a_field_says_how_what_is_typed_becomes_what_is_kept(abroad: Any, house: Any) -> None:
    field = re.search(r'<input id="air_temperature_c"[^>]*>', abroad.get("/weather").text)
    assert field is not None
    told = dict(re.findall(r'data-(offset|factor)="([^"]+)"', field.group()))
    assert (212.0 + float(told["offset"])) * float(told["factor"]) == pytest.approx(100.0)


def test_a_pull_tells_its_air_in_them(abroad: Any, house: Any) -> None:
    pull = filed(abroad, house, Steady().csv())
    fahrenheit = WEATHER["air_temperature_c"] * 9.0 / 5.0 + 32.0
    assert f"{fahrenheit:.1f}\u00a0°F" in abroad.get(f"/pulls/{pull['id']}").text


def test_degrees_beyond_a_limit_are_no_reading_on_the_scale(abroad: Any, house: Any) -> None:
    pull = filed(abroad, house, _hot())
    version = abroad.get(f"/api/v1/tickets/{house.ticket_id}/limits").json()["version"]
    wanted = {"version": version, "oil_temperature_c_above": 130.0}
    assert abroad.put(f"/api/v1/tickets/{house.ticket_id}/limits", json=wanted).status_code == 200
    page = abroad.get(f"/pulls/{pull['id']}").text
    assert "oil temperature above 266.0\u00a0°F" in page
    assert "287.6\u00a0°F" in page  # 142 °C
    assert "21.6\u00a0°F" in page  # 12 degrees of the one are 21.6 of the other
