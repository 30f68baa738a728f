"""What is said of a pull can change, with a reason and a trace; what was measured cannot."""

from typing import Any

import pytest

from tests.api.pull_files import Steady, filed


@pytest.fixture
def pull(tuner: Any, house: Any) -> dict[str, Any]:
    return filed(tuner, house, Steady().csv())


def test_it_is_set_aside_with_a_reason_and_taken_back(tuner: Any, pull: dict[str, Any], now: Any) -> None:
    address = f"/api/v1/pulls/{pull['id']}/set-aside"
    answer = tuner.post(address, json={"reason": "Wheel slip"})
    assert answer.status_code == 201
    aside = answer.json()
    assert (aside["set_aside_reason"], aside["set_aside_at"]) == ("Wheel slip", now.value.isoformat())
    assert aside["set_aside_by_name"] == "Tadeo Brandvik"
    assert tuner.post(address, json={"reason": "Again"}).status_code == 409
    back = tuner.delete(address).json()
    assert back == {**{name: value for name, value in pull.items() if name != "receipt"}, "version": 3}
    assert tuner.delete(address).json() == back


def test_a_reason_is_needed(tuner: Any, pull: dict[str, Any]) -> None:
    answer = tuner.post(f"/api/v1/pulls/{pull['id']}/set-aside", json={"reason": "  "})
    assert answer.status_code == 422


def test_the_trail_keeps_who_and_why_after_it_was_taken_back(tuner: Any, owner: Any, pull: dict[str, Any]) -> None:
    address = f"/api/v1/pulls/{pull['id']}/set-aside"
    tuner.post(address, json={"reason": "Wheel slip"})
    tuner.delete(address)
    trail = owner.get("/api/v1/audit", params={"record": "pull", "record_id": pull["id"]}).json()["items"]
    assert [(entry["action"], entry["staff_name"]) for entry in trail] == [
        ("change", "Tadeo Brandvik"),
        ("change", "Tadeo Brandvik"),
        ("file", "Tadeo Brandvik"),
    ]
    assert trail[1]["after"] == {"set_aside_reason": "Wheel slip"}


def test_notes_and_setup_change_and_nothing_else(tuner: Any, house: Any, pull: dict[str, Any]) -> None:
    address = f"/api/v1/pulls/{pull['id']}"
    told = {"version": 1, "notes": "fan off", "setup_id": house.second_setup_id}
    changed = tuner.patch(address, json=told).json()
    assert (changed["notes"], changed["setup_name"], changed["version"]) == ("fan off", "Intake", 2)
    for field, value in (("taken_at", "2026-03-10T08:00:00Z"), ("kind", "hold"), ("sha256", "0" * 64)):
        refused = tuner.patch(address, json={"version": 2, field: value})
        assert refused.status_code == 422
        assert refused.json()["problems"][0]["field"] == field


def test_a_setup_of_another_ticket_is_refused(tuner: Any, house: Any, pull: dict[str, Any]) -> None:
    asked = {"customer_id": house.customer_id, "vehicle_id": house.vehicle_id, "asked": "again"}
    other = tuner.post("/api/v1/tickets", json=asked).json()
    setup = tuner.post(f"/api/v1/tickets/{other['id']}/setups", json={"name": "Baseline"}).json()
    answer = tuner.patch(f"/api/v1/pulls/{pull['id']}", json={"version": 1, "setup_id": setup["id"]})
    assert answer.status_code == 422


def test_the_desk_sets_nothing_aside(desk: Any, pull: dict[str, Any]) -> None:
    assert desk.post(f"/api/v1/pulls/{pull['id']}/set-aside", json={"reason": "x"}).status_code == 403


def test_a_tickets_pulls_are_listed_by_the_time_taken(tuner: Any, house: Any, pull: dict[str, Any]) -> None:
    earlier = filed(tuner, house, Steady(seconds=7).csv(), taken_at="2026-03-09T08:00:00Z")
    listed = tuner.get(f"/api/v1/tickets/{house.ticket_id}/pulls").json()
    assert [one["id"] for one in listed["items"]] == [pull["id"], earlier["id"]]
    first = tuner.get(f"/api/v1/tickets/{house.ticket_id}/pulls", params={"limit": 1}).json()
    second = tuner.get(f"/api/v1/tickets/{house.ticket_id}/pulls", params={"cursor": first["next"]}).json()
    assert [one["id"] for one in first["items"] + second["items"]] == [pull["id"], earlier["id"]]
    of_second = {"setup_id": house.second_setup_id}
    assert tuner.get(f"/api/v1/tickets/{house.ticket_id}/pulls", params=of_second).json()["items"] == []
