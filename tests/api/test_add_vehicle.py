"""Adding, finding and changing vehicles."""

from typing import Any

import pytest


@pytest.fixture
def customer_id(desk: Any) -> str:
    return desk.post("/api/v1/customers", json={"full_name": "Petra Lindqvist"}).json()["id"]


def _vehicle(holder_id: str, **changes: Any) -> dict[str, Any]:
    return {"customer_id": holder_id, "make": "Corvane", "model": "Stilt", "plate": "QX-418 T", **changes}


def test_it_keeps_what_was_sent(desk: Any, customer_id: str) -> None:
    asked = _vehicle(customer_id, model_year=2019, aspiration="turbo", holds_own_boost=True, displacement_l=1.998)
    answer = desk.post("/api/v1/vehicles", json=asked)
    assert answer.status_code == 201, answer.text
    kept = answer.json()
    assert {name: kept[name] for name in asked} == asked
    assert kept["customer_name"] == "Petra Lindqvist"
    assert desk.get(f"/api/v1/vehicles/{kept['id']}").json() == kept


def test_a_vin_that_does_not_fit_is_kept_with_a_warning(desk: Any, customer_id: str) -> None:
    kept = desk.post("/api/v1/vehicles", json=_vehicle(customer_id, vin="1zz bb1aax p1000001")).json()
    assert kept["vin"] == "1ZZBB1AAXP1000001"
    assert "check digit" in kept["vin_warning"]


def test_a_vin_in_order_has_no_warning(desk: Any, customer_id: str) -> None:
    kept = desk.post("/api/v1/vehicles", json=_vehicle(customer_id, vin="1ZZBB1AAXPN000001")).json()
    assert kept["vin_warning"] is None


def test_correcting_the_vin_takes_the_warning_away(desk: Any, customer_id: str) -> None:
    kept = desk.post("/api/v1/vehicles", json=_vehicle(customer_id, vin="1ZZBB1AAXP1000001")).json()
    address = f"/api/v1/vehicles/{kept['id']}"
    changed = desk.patch(address, json={"version": 1, "vin": "1ZZBB1AAXPN000001"}).json()
    assert changed["vin_warning"] is None
    assert changed["version"] == 2


def test_it_finds_by_plate_vin_and_car(desk: Any, customer_id: str) -> None:
    kept = desk.post("/api/v1/vehicles", json=_vehicle(customer_id, vin="1ZZBB1AAXPN000001", model_year=2019)).json()
    for typed in ("qx418", "QX-418", "aaxpn0", "corvane 2019", "stilt"):
        found = desk.get("/api/v1/vehicles", params={"find": typed}).json()["items"]
        assert [one["id"] for one in found] == [kept["id"]], typed
    assert desk.get("/api/v1/vehicles", params={"find": "corvane 2018"}).json()["items"] == []


def test_it_lists_one_customers_cars(desk: Any, customer_id: str) -> None:
    other = desk.post("/api/v1/customers", json={"full_name": "Somebody Else"}).json()["id"]
    mine = desk.post("/api/v1/vehicles", json=_vehicle(customer_id)).json()
    desk.post("/api/v1/vehicles", json=_vehicle(other))
    found = desk.get("/api/v1/vehicles", params={"customer_id": customer_id}).json()["items"]
    assert [one["id"] for one in found] == [mine["id"]]


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"customer_id": "0123456789abc"}, "customer_id"),
        ({"fuel": "coal"}, "fuel"),
        ({"displacement_l": 0}, "displacement_l"),
        ({"model_year": 1700}, "model_year"),
        ({"engine_turns_per_roller_turn": -1}, "engine_turns_per_roller_turn"),
        ({"owner": "x"}, "owner"),
    ],
)
def test_it_names_the_field_that_cannot_be(desk: Any, customer_id: str, changes: dict[str, Any], field: str) -> None:
    answer = desk.post("/api/v1/vehicles", json=_vehicle(customer_id, **changes))
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["field"] == field
