"""What the desk notes down as a car comes in."""

from typing import Any

import pytest

SEEN = {
    "odometer_km": 84210,
    "fuel_eighths": 5,
    "tyre_condition": "Front left worn on its inner edge",
    "tyre_pressures": "2.4 bar front, 2.6 bar rear",
    "tyre_age": "made in week 12 of 2021",
    "key_count": 2,
    "keys_where": "Board, hook 7",
    "arrival_notes": "Scratch on the left rear door.\nCustomer says the clutch slips in sixth.",
}


def _address(house: Any) -> str:
    return f"/api/v1/tickets/{house.ticket_id}"


def test_everything_is_noted_and_stands_on_the_ticket(desk: Any, house: Any) -> None:
    before = desk.get(_address(house)).json()
    assert {before[name] for name in SEEN} == {None}
    answer = desk.patch(_address(house), json={"version": before["version"], **SEEN})
    assert answer.status_code == 200, answer.text
    kept = desk.get(_address(house)).json()
    assert {name: kept[name] for name in SEEN} == SEEN
    assert kept["version"] == before["version"] + 1
    cleared = desk.patch(_address(house), json={"version": kept["version"], "fuel_eighths": None}).json()
    assert cleared["fuel_eighths"] is None
    assert cleared["key_count"] == 2


def test_two_who_note_at_once_do_not_overwrite_each_other(desk: Any, tuner: Any, house: Any) -> None:
    version = desk.get(_address(house)).json()["version"]
    assert desk.patch(_address(house), json={"version": version, "fuel_eighths": 3}).status_code == 200
    late = tuner.patch(_address(house), json={"version": version, "fuel_eighths": 6, "key_count": 1})
    assert late.status_code == 409
    assert {one["field"]: one["would_do"] for one in late.json()["problems"]}["fuel_eighths"] == "it is 3 now"
    assert desk.get(_address(house)).json()["key_count"] is None


@pytest.mark.parametrize(
    ("field", "value"),
    [("fuel_eighths", 9), ("fuel_eighths", -1), ("fuel_eighths", 2.5), ("key_count", -1), ("tyre_age", "a\nb")],
)  # fmt: skip
def test_what_no_car_shows_is_refused_by_its_field(desk: Any, house: Any, field: str, value: Any) -> None:
    answer = desk.patch(_address(house), json={"version": 1, field: value})
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["field"] == field


def test_what_was_noted_and_by_whom_is_in_the_trail(owner: Any, desk: Any, house: Any) -> None:
    version = desk.get(_address(house)).json()["version"]
    desk.patch(_address(house), json={"version": version, "fuel_eighths": 3})
    entry = owner.get("/api/v1/audit", params={"record_id": house.ticket_id}).json()["items"][0]
    assert (entry["before"], entry["after"]) == ({"fuel_eighths": None}, {"fuel_eighths": 3})
    assert entry["staff_name"] == "Wren Castellane"
