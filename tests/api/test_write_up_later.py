"""A ticket kept on paper while the network was down is written up later, with the times at which things happened."""

from datetime import timedelta
from typing import Any

import pytest


def _open(client: Any, house: Any, **more: Any) -> Any:
    asked = {"customer_id": house.customer_id, "vehicle_id": house.vehicle_id, "asked": "Written up from paper."}
    return client.post("/api/v1/tickets", json=asked | more)


def test_it_logs_each_step_at_the_time_told(desk: Any, house: Any, now: Any) -> None:
    opened, came = now.value - timedelta(days=3), now.value - timedelta(days=2)
    ticket = _open(desk, house, opened_at=opened.isoformat(), waiver_name="I. Marchetti-Vonn").json()
    answer = desk.post(f"/api/v1/tickets/{ticket['id']}/steps", json={"state": "checked_in", "at": came.isoformat()})
    assert answer.status_code == 201, answer.text
    steps = answer.json()["steps"]
    assert [step["at"] for step in steps] == [opened.isoformat(), came.isoformat()]
    assert ticket["waiver_at"] == opened.isoformat()
    assert ticket["made_at"] == now.value.isoformat()  # when it was really written down stays on record too


def test_it_logs_a_step_now_when_no_time_is_told(desk: Any, house: Any, now: Any) -> None:
    now.advance(minutes=12)
    answer = desk.post(f"/api/v1/tickets/{house.ticket_id}/steps", json={"state": "checked_in"})
    assert answer.json()["steps"][-1]["at"] == now.value.isoformat()


@pytest.mark.parametrize(("hours", "would_do"), [(-48, "no earlier than"), (3, "no later than")])
def test_it_refuses_a_step_before_the_last_or_ahead_of_the_clock(
    desk: Any, house: Any, now: Any, hours: int, would_do: str
) -> None:
    at = (now.value + timedelta(hours=hours)).isoformat()
    answer = desk.post(f"/api/v1/tickets/{house.ticket_id}/steps", json={"state": "checked_in", "at": at})
    assert answer.status_code == 422
    problem = answer.json()["problems"][0]
    assert problem["field"] == "at"
    assert problem["would_do"].startswith(would_do)
    assert desk.get(f"/api/v1/tickets/{house.ticket_id}").json()["state"] == "booked"


def test_it_refuses_a_ticket_opened_in_the_future(desk: Any, house: Any, now: Any) -> None:
    answer = _open(desk, house, opened_at=(now.value + timedelta(hours=1)).isoformat())
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["field"] == "opened_at"
