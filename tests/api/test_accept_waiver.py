"""The shop's own terms: written anew, accepted by name, and readable as they were when they were accepted."""

from typing import Any

BODY = "We run your car on our rollers. You tell us what you know of its faults. Both of us sign."


def _write(client: Any, body: str, replaces: int) -> Any:
    return client.post("/api/v1/waivers", json={"body": body, "replaces": replaces})


def _accept(client: Any, house: Any, **changes: Any) -> Any:
    address = f"/api/v1/tickets/{house.ticket_id}"
    return client.patch(address, json={"version": client.get(address).json()["version"], **changes})


def test_the_first_text_says_that_it_is_no_legal_advice_and_wants_a_lawyer(desk: Any) -> None:
    (first,) = desk.get("/api/v1/waivers").json()["items"]
    assert (first["number"], first["made_by_name"]) == (1, None)
    assert "not legal advice" in first["body"]
    assert "lawyer" in first["body"]


def test_an_acceptance_names_the_version_and_an_old_one_stays_readable(owner: Any, house: Any, now: Any) -> None:
    (first,) = owner.get("/api/v1/waivers").json()["items"]
    ticket = _accept(owner, house, waiver_name="I. Marchetti-Vonn").json()
    assert (ticket["waiver_version"], ticket["waiver_version_id"]) == (1, first["id"])
    accepted_at = ticket["waiver_at"]
    now.advance(hours=3)
    second = _write(owner, BODY, 1)
    assert second.status_code == 201, second.text
    assert second.json()["number"] == 2
    kept = owner.get(f"/api/v1/tickets/{house.ticket_id}").json()
    assert (kept["waiver_version"], kept["waiver_at"]) == (1, accepted_at)
    assert owner.get(f"/api/v1/waivers/{kept['waiver_version_id']}").json() == first
    assert [one["number"] for one in owner.get("/api/v1/waivers").json()["items"]] == [2, 1]


def test_a_new_ticket_is_accepted_under_the_text_in_force(owner: Any, house: Any) -> None:
    second = _write(owner, BODY, 1).json()
    asked = {"customer_id": house.customer_id, "vehicle_id": house.vehicle_id, "asked": "x", "waiver_name": "I. M."}
    ticket = owner.post("/api/v1/tickets", json=asked).json()
    assert ticket["waiver_version_id"] == second["id"]


def test_what_somebody_read_is_what_they_accepted(owner: Any, house: Any) -> None:
    (first,) = owner.get("/api/v1/waivers").json()["items"]
    _write(owner, BODY, 1)
    ticket = _accept(owner, house, waiver_name="I. M.", waiver_version_id=first["id"]).json()
    assert ticket["waiver_version"] == 1
    now_newer = _accept(owner, house, waiver_version_id=owner.get("/api/v1/waivers").json()["items"][0]["id"]).json()
    assert now_newer["waiver_version"] == 2


def test_a_version_that_nobody_wrote_is_refused_by_its_field(desk: Any, house: Any) -> None:
    answer = _accept(desk, house, waiver_name="I. M.", waiver_version_id="0123456789abc")
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["field"] == "waiver_version_id"
    assert desk.get(f"/api/v1/tickets/{house.ticket_id}").json()["waiver_name"] == ""


def test_two_who_write_it_at_once_do_not_overwrite_each_other(owner: Any) -> None:
    assert _write(owner, BODY, 1).status_code == 201
    late = _write(owner, BODY + " And more.", 1)
    assert late.status_code == 409
    assert late.json()["problems"][0]["field"] == "replaces"
    assert [one["number"] for one in owner.get("/api/v1/waivers").json()["items"]] == [2, 1]


def test_only_an_owner_writes_it(tuner: Any) -> None:
    assert _write(tuner, BODY, 1).status_code == 403
    assert tuner.get("/api/v1/waivers").status_code == 200
