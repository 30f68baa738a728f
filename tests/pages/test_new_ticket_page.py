"""The page of a new ticket as the server draws it: before any script has run."""

from typing import Any

import pytest

from tests.api.pull_files import Steady, filed


def test_free_time_of_the_plan_leads_to_a_form_with_cell_and_hours_in_it(desk: Any, house: Any) -> None:
    asked = {"cell_id": house.cell_id, "begins": "2026-10-25T00:30:00+00:00"}  # the first half past two of that night
    page = desk.get("/tickets/new", params=asked).text
    assert f'<option value="{house.cell_id}" selected>' in page
    assert 'value="2026-10-25T02:30" data-exact="2026-10-25T00:30:00+00:00"' in page
    assert (
        'value="2026-10-25T02:30" data-exact="2026-10-25T01:30:00+00:00"' in page
    )  # an hour later, and the same clock
    assert 'data-day="2026-10-25"' in page


def test_a_car_of_the_address_shows_what_it_did_here(desk: Any, tuner: Any, house: Any) -> None:
    page = desk.get("/tickets/new", params={"vehicle_id": house.vehicle_id}).text
    assert "No pull of it is on record." in page
    filed(tuner, house, Steady(gain_rad_s2=8.0).csv(), setup_id=house.setup_id, file_name="run.csv")
    page = desk.get("/tickets/new", params={"vehicle_id": house.vehicle_id}).text
    assert "A – Baseline" in page
    assert "Does the new intake do anything?" in page.split('id="returning-car"')[1]


def test_limits_of_the_latest_ticket_that_has_any_are_told(desk: Any, tuner: Any, house: Any) -> None:
    version = tuner.get(f"/api/v1/tickets/{house.ticket_id}").json()["version"]
    limits = {"version": version, "note": "Agreed", "oil_temperature_c_above": 128.0}
    assert tuner.put(f"/api/v1/tickets/{house.ticket_id}/limits", json=limits).status_code == 200
    wanted = {"customer_id": house.customer_id, "vehicle_id": house.vehicle_id, "asked": "Without limits"}
    assert desk.post("/api/v1/tickets", json=wanted).status_code == 201
    page = desk.get("/tickets/new", params={"vehicle_id": house.vehicle_id}).text
    assert "oil temperature above 128" in page
    assert ">ticket 1</a> (Agreed)" in page


def test_a_car_nobody_has_seen_is_said_to_be_new(desk: Any, house: Any) -> None:
    car = {"customer_id": house.customer_id, "make": "Tarnwick", "model": "Fen"}
    made = desk.post("/api/v1/vehicles", json=car).json()
    assert "It has not been here before." in desk.get("/tickets/new", params={"vehicle_id": made["id"]}).text


@pytest.mark.parametrize(
    "asked", [{"begins": "soon"}, {"begins": "2026-03-12T10:00"}, {"day": "2026-02-30"}, {"day": "2201-01-01"}]
)
def test_an_hour_that_is_none_is_refused_in_words(desk: Any, asked: dict[str, str]) -> None:
    assert desk.get("/tickets/new", params=asked).status_code == 422
