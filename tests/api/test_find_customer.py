"""Finding whose car it is by whatever people say of it, however they write it."""

from typing import Any

import pytest


@pytest.mark.parametrize(
    "typed",
    [
        "marchetti", "MARCHETTI", "vonn ilse", "ilse@cust", "+43 1 555", "555-0142", "(555) 0142", "5550142",
        "0043 1 5550142", "015550142", "1/555/0142",
    ],
)  # fmt: skip
def test_a_customer_is_found_by_any_part_of_name_phone_or_address(desk: Any, house: Any, typed: str) -> None:
    found = desk.get("/api/v1/customers", params={"find": typed}).json()["items"]
    assert [one["id"] for one in found] == [house.customer_id], typed


@pytest.mark.parametrize("typed", ["qx418t", "QX-418-T", "qx 418", "418 stilt", "corvane", "2019"])
def test_a_car_is_found_by_plate_make_model_and_year(desk: Any, house: Any, typed: str) -> None:
    found = desk.get("/api/v1/vehicles", params={"find": typed}).json()["items"]
    assert [one["id"] for one in found] == [house.vehicle_id], typed


@pytest.mark.parametrize("typed", ["1m8gdm", "1M8G-DM9A", "xkp042788"])
def test_a_car_is_found_by_any_part_of_its_vin(desk: Any, house: Any, typed: str) -> None:
    car = {"customer_id": house.customer_id, "make": "Tarn", "model": "Wick", "vin": "1M8GDM9AXKP042788"}
    kept = desk.post("/api/v1/vehicles", json=car).json()
    found = desk.get("/api/v1/vehicles", params={"find": typed}).json()["items"]
    assert [one["id"] for one in found] == [kept["id"]]


@pytest.mark.parametrize("typed", ["marchetti 9999", "qx 419", "%", "_", "555 0143", "0000"])
def test_what_does_not_occur_finds_nobody(desk: Any, house: Any, typed: str) -> None:
    for path in ("customers", "vehicles", "tickets"):
        assert desk.get(f"/api/v1/{path}", params={"find": typed}).json()["items"] == [], path


@pytest.mark.parametrize("typed", ["#1", "1 ilse", "555-0142", "qx-418-t ilse"])
def test_a_ticket_is_found_the_same_ways(desk: Any, house: Any, typed: str) -> None:
    found = desk.get("/api/v1/tickets", params={"find": typed}).json()["items"]
    assert [one["id"] for one in found] == [house.ticket_id]


# beside what is typed where a keyboard lacks the letter; one with a stroke or a ligature has no accent to part with
@pytest.mark.parametrize(
    ("written", "typed"),
    [
        ("Stanisław Żółtek", "stanislaw zoltek"), ("Jørn Bæk", "jorn baek"), ("Đurđa Kranjčec", "durda kranjcec"),
        ("Weißgerber", "weissgerber"), ("Þóra Eiðsdóttir", "thora eidsdottir"), ("Işıl Bağcı", "isil bagci"),
        ("Cœur Ætna", "coeur aetna"), ("Ħal Ŋuŋa", "hal nuna"), ("Åse Müller", "ase muller"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("both", [False, True])
def test_a_name_is_found_with_and_without_its_strokes_and_ligatures(
    desk: Any, house: Any, written: str, typed: str, both: bool
) -> None:
    kept = desk.post("/api/v1/customers", json={"full_name": written}).json()
    car = {"customer_id": kept["id"], "make": written, "model": "Stilt"}
    car = desk.post("/api/v1/vehicles", json=car).json()
    for path, wanted in (("customers", kept), ("vehicles", car)):
        found = desk.get(f"/api/v1/{path}", params={"find": written if both else typed}).json()["items"]
        assert [one["id"] for one in found] == [wanted["id"]], path
