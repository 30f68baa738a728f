"""Setups: the baseline first, each later one with what was changed since."""

from concurrent.futures import ThreadPoolExecutor
from typing import Any


def test_positions_follow_each_other(tuner: Any, house: Any) -> None:
    address = f"/api/v1/tickets/{house.ticket_id}/setups"
    third = tuner.post(address, json={"name": "Timing", "changed": "+1°", "engine_turns_per_roller_turn": 5.2})
    assert third.status_code == 201
    assert third.json()["position"] == 2
    assert [setup["name"] for setup in tuner.get(address).json()["items"]] == ["Baseline", "Intake", "Timing"]
    assert tuner.get(f"/api/v1/setups/{third.json()['id']}").json() == third.json()


def test_several_at_once_take_positions_of_their_own(client_for: Any, house: Any) -> None:
    address = f"/api/v1/tickets/{house.ticket_id}/setups"
    clients = [client_for("tuner") for _ in range(4)]
    with ThreadPoolExecutor(4) as people:
        answers = list(people.map(lambda client: client.post(address, json={"name": "Same"}), clients))
    assert [answer.status_code for answer in answers] == [201] * 4
    assert sorted(answer.json()["position"] for answer in answers) == [2, 3, 4, 5]


def test_an_old_version_is_refused_with_both(tuner: Any, house: Any) -> None:
    address = f"/api/v1/setups/{house.setup_id}"
    assert tuner.patch(address, json={"version": 1, "gear": "5"}).json()["version"] == 2
    answer = tuner.patch(address, json={"version": 1, "gear": "3"})
    assert answer.status_code == 409
    told = {problem["field"]: problem for problem in answer.json()["problems"]}
    assert told["gear"] == {"field": "gear", "value": "3", "would_do": "it is '5' now"}


def test_the_desk_makes_no_setups(desk: Any, house: Any) -> None:
    assert desk.post(f"/api/v1/tickets/{house.ticket_id}/setups", json={"name": "x"}).status_code == 403
    assert desk.get(f"/api/v1/tickets/{house.ticket_id}/setups").status_code == 200


def test_an_unknown_ticket_is_not_found(tuner: Any, house: Any) -> None:
    assert tuner.get("/api/v1/tickets/0123456789abc/setups").status_code == 404
    assert tuner.post("/api/v1/tickets/0123456789abc/setups", json={"name": "x"}).status_code == 404
