"""Cells and their calibrations: named once, calibrated from a date on, never edited backwards."""

from typing import Any

import pytest

from tests.furnishing import CALIBRATION, CELL


def test_the_owner_adds_a_cell_and_nobody_else(owner: Any, tuner: Any, house: Any) -> None:
    told = {**CELL, "name": "Cell two", "altitude_m": 1680.0}
    assert tuner.post("/api/v1/cells", json=told).status_code == 403
    answer = owner.post("/api/v1/cells", json=told)
    assert answer.status_code == 201
    kept = answer.json()
    assert {name: kept[name] for name in told} == told
    assert tuner.get(f"/api/v1/cells/{kept['id']}").json() == kept
    assert [cell["name"] for cell in tuner.get("/api/v1/cells").json()["items"]] == ["Cell two", "Cell one"]


def test_a_name_is_given_once(owner: Any, house: Any) -> None:
    answer = owner.post("/api/v1/cells", json=CELL)
    assert answer.status_code == 409
    assert answer.json()["problems"][0]["field"] == "name"
    other = owner.post("/api/v1/cells", json={**CELL, "name": "Cell two"}).json()
    assert owner.patch(f"/api/v1/cells/{other['id']}", json={"version": 1, "name": "Cell one"}).status_code == 409
    renamed = owner.patch(f"/api/v1/cells/{other['id']}", json={"version": 1, "name": "Cell 2"})
    assert (renamed.status_code, renamed.json()["name"]) == (200, "Cell 2")


@pytest.mark.parametrize(
    ("changes", "field"),
    [({"drive": "three_wheel"}, "drive"), ({"altitude_m": 9000}, "altitude_m"), ({"has_brake": "maybe"}, "has_brake")],
)
def test_it_names_the_field_that_cannot_be(owner: Any, house: Any, changes: dict[str, Any], field: str) -> None:
    answer = owner.post("/api/v1/cells", json={**CELL, "name": "New", **changes})
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["field"] == field


def test_a_calibration_is_kept_as_sent_and_is_in_force(owner: Any, house: Any) -> None:
    address = f"/api/v1/cells/{house.cell_id}/calibrations"
    (kept,) = owner.get(address).json()["items"]
    assert kept["id"] == house.calibration_id
    assert kept["in_force"] is True
    assert kept["made_by_name"] == "Mira Okonjo-Lund"
    told = {name: value for name, value in CALIBRATION.items() if name != "valid_from"}
    assert {name: kept[name] for name in told} == told
    assert kept["valid_from"] == "2026-01-05T07:00:00+00:00"


def test_a_newer_date_is_in_force_and_the_older_one_stays(owner: Any, house: Any) -> None:
    address = f"/api/v1/cells/{house.cell_id}/calibrations"
    newer = owner.post(address, json={**CALIBRATION, "valid_from": "2026-03-01T00:00:00+01:00"}).json()
    planned = owner.post(address, json={**CALIBRATION, "valid_from": "2026-06-01T00:00:00+02:00"}).json()
    assert (newer["in_force"], planned["in_force"]) == (True, False)
    listed = {one["id"]: one["in_force"] for one in owner.get(address).json()["items"]}
    assert listed == {planned["id"]: False, newer["id"]: True, house.calibration_id: False}


def test_of_two_for_the_same_date_the_one_made_last_is_in_force(owner: Any, house: Any) -> None:
    address = f"/api/v1/cells/{house.cell_id}/calibrations"
    again = owner.post(address, json={**CALIBRATION, "inertia_kg_m2": 4.3}).json()
    assert again["in_force"] is True


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"inertia_kg_m2": 0}, "inertia_kg_m2"),
        ({"roller_radius_m": -0.3}, "roller_radius_m"),
        ({"inertia_u_kg_m2": -0.1}, "inertia_u_kg_m2"),
        ({"valid_from": "2026-03-01"}, "valid_from"),
        ({"valid_until": "2027-01-01T00:00:00Z"}, "valid_until"),
    ],
)
def test_a_calibration_that_cannot_be_is_named(owner: Any, house: Any, changes: dict[str, Any], field: str) -> None:
    answer = owner.post(f"/api/v1/cells/{house.cell_id}/calibrations", json={**CALIBRATION, **changes})
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["field"] == field


def test_the_tuner_does_not_calibrate(tuner: Any, house: Any) -> None:
    assert tuner.post(f"/api/v1/cells/{house.cell_id}/calibrations", json=CALIBRATION).status_code == 403
