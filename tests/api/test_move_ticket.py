"""Moving a ticket step by step, and changing what it says."""

from typing import Any

import pytest

from pullbook.shop.booking import MOVES


def _step(client: Any, house: Any, state: str, note: str = "") -> Any:
    return client.post(f"/api/v1/tickets/{house.ticket_id}/steps", json={"state": state, "note": note})


def test_it_goes_the_usual_way_and_every_step_is_logged(desk: Any, house: Any, now: Any) -> None:
    for state in ("checked_in", "in_cell", "ready", "collected"):
        now.advance(minutes=30)
        answer = _step(desk, house, state, f"to {state}")
        assert answer.status_code == 201, answer.text
        assert answer.json()["state"] == state
    ticket = desk.get(f"/api/v1/tickets/{house.ticket_id}").json()
    assert [step["state"] for step in ticket["steps"]] == ["booked", "checked_in", "in_cell", "ready", "collected"]
    assert ticket["steps"][-1]["note"] == "to collected"
    assert ticket["steps"][-1]["at"] == now.value.isoformat()
    assert ticket["may_go"] == []


def test_it_says_where_it_may_go_when_it_may_not_go_there(desk: Any, house: Any) -> None:
    answer = _step(desk, house, "ready")
    assert answer.status_code == 409
    assert answer.json()["problems"][0]["would_do"] == "from there it can go to checked_in, on_hold, cancelled"
    assert len(desk.get(f"/api/v1/tickets/{house.ticket_id}").json()["steps"]) == 1


def test_every_state_can_be_reached_and_only_collected_is_the_end() -> None:
    reached, waiting = {"booked"}, ["booked"]
    while waiting:
        for state in MOVES[waiting.pop()]:
            if state not in reached:
                reached.add(state)
                waiting.append(state)
    assert reached == set(MOVES)
    assert [state for state, onward in MOVES.items() if not onward] == ["collected"]


def test_a_waiver_carries_its_time_and_the_text_that_was_accepted(tuner: Any, house: Any, now: Any) -> None:
    address = f"/api/v1/tickets/{house.ticket_id}"
    version = tuner.get(address).json()["version"]
    ticket = tuner.patch(address, json={"version": version, "waiver_name": "I. Marchetti-Vonn"}).json()
    assert ticket["waiver_at"] == now.value.isoformat()
    assert ticket["waiver_version"] == 1
    undone = tuner.patch(address, json={"version": ticket["version"], "waiver_name": ""}).json()
    assert undone["waiver_at"] is None
    assert undone["waiver_version_id"] is None


def test_moving_the_booking_into_taken_hours_is_refused_and_nothing_changes(desk: Any, house: Any) -> None:
    hours = {"booked_from": "2026-03-12T09:00:00+01:00", "booked_to": "2026-03-12T11:00:00+01:00"}
    asked = {"customer_id": house.customer_id, "vehicle_id": house.vehicle_id, "asked": "x", "cell_id": house.cell_id}
    holder = desk.post("/api/v1/tickets", json={**asked, **hours}).json()
    address = f"/api/v1/tickets/{house.ticket_id}"
    before = desk.get(address).json()
    answer = desk.patch(address, json={"version": before["version"], "cell_id": house.cell_id, **hours})
    assert answer.status_code == 409
    assert f"ticket {holder['number']}" in answer.json()["detail"]
    assert desk.get(address).json() == before


@pytest.mark.parametrize("field", ["number", "state", "made_at", "customer_id"])
def test_what_is_not_edited_is_not_a_field(desk: Any, house: Any, field: str) -> None:
    answer = desk.patch(f"/api/v1/tickets/{house.ticket_id}", json={"version": 1, field: "x"})
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["field"] == field
