"""The safety checklist: written by the shop, signed for one car in one cell on one day, told on every pull."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from tests.api.pull_files import Steady, filed
from tests.furnishing import CELL, START, TUNER, sign_in


def listed(client: Any) -> dict[str, Any]:
    return client.get("/api/v1/checklists").json()["items"][0]


def sign(client: Any, house: Any, **changes: Any) -> Any:
    points = listed(client)
    wanted = {
        "cell_id": house.cell_id,
        "checklist_id": points["id"],
        "points": [{"done": True} for _ in points["points"]],
        **changes,
    }
    return client.post(f"/api/v1/tickets/{house.ticket_id}/signings", json=wanted)


def pull_at(client: Any, house: Any, at: datetime, **changes: Any) -> dict[str, Any]:
    gain = 7.0 + (at - START).total_seconds() / 1e7  # another file each time
    return filed(client, house, Steady(gain_rad_s2=gain).csv(), taken_at=at.isoformat(), **changes)


def is_signed(client: Any, pull: dict[str, Any]) -> bool:
    told = client.get(f"/api/v1/pulls/{pull['id']}").json()["safety_signed"]
    page = client.get(f"/pulls/{pull['id']}").text
    assert ("Not signed for" in page) == (not told)
    items = client.get(f"/api/v1/tickets/{pull['ticket_id']}/pulls").json()["items"]
    assert {one["id"]: one["safety_signed"] for one in items}[pull["id"]] == told
    return bool(told)


def test_the_list_that_came_with_the_service_names_what_can_hurt(desk: Any) -> None:
    points = " ".join(listed(desk)["points"]).lower()
    for word in ("tie-downs", "tyres", "leaks", "guards", "extraction", "extinguisher", "people", "first pull gentle"):
        assert word in points


def test_a_signing_says_who_when_where_and_each_point_as_it_read(tuner: Any, house: Any, now: Any) -> None:
    there = listed(tuner)
    points = [{"done": True} for _ in there["points"]]
    points[3] = {"done": False, "note": "oil weeps at the sump, wiped, looked at after each pull"}
    device = now.value + timedelta(minutes=7)
    answer = sign(tuner, house, points=points, note="quiet", device_at=device.isoformat())
    assert answer.status_code == 201, answer.text
    signed = answer.json()
    assert (signed["signed_by_name"], signed["cell_name"]) == ("Tadeo Brandvik", CELL["name"])
    assert signed["signed_at"] == signed["received_at"] == now.value.isoformat()
    assert datetime.fromisoformat(signed["device_at"]) == device
    assert [point["text"] for point in signed["points"]] == there["points"]
    assert signed["points"][3]["note"].startswith("oil weeps")
    assert tuner.get(f"/api/v1/tickets/{house.ticket_id}/signings").json()["items"] == [signed]


def test_a_point_neither_ticked_nor_noted_is_named_and_nothing_is_signed(tuner: Any, house: Any) -> None:
    points = [{"done": True} for _ in listed(tuner)["points"]]
    points[5] = {"done": False}
    answer = sign(tuner, house, points=points)
    assert answer.status_code == 422
    assert [one["field"] for one in answer.json()["problems"]] == ["points.5"]
    assert answer.json()["problems"][0]["value"] == listed(tuner)["points"][5]
    short = sign(tuner, house, points=points[:2])
    assert short.json()["problems"][0]["field"] == "points"
    assert tuner.get(f"/api/v1/tickets/{house.ticket_id}/signings").json()["items"] == []


def test_a_pull_before_any_signing_is_filed_and_marked_and_a_later_one_does_not_cover_it(
    tuner: Any, house: Any, now: Any
) -> None:
    early = pull_at(tuner, house, START - timedelta(minutes=5))
    assert early["safety_signed"] is False
    now.advance(minutes=10)
    assert sign(tuner, house).status_code == 201
    now.advance(minutes=20)
    late = pull_at(tuner, house, START + timedelta(minutes=11))
    assert late["safety_signed"] is True
    assert is_signed(tuner, early) is False
    assert is_signed(tuner, late) is True


def test_it_holds_to_the_end_of_the_day_by_the_shops_own_clock(tuner: Any, house: Any, now: Any) -> None:
    # in Vienna 10 March ends at 23:00 UTC: an hour of that day lies in the UTC day before, none in the one after
    sign(tuner, house)
    now.advance(days=2)
    sign_in(tuner, TUNER)
    assert is_signed(tuner, pull_at(tuner, house, datetime(2026, 3, 10, 22, 59, tzinfo=UTC))) is True
    assert is_signed(tuner, pull_at(tuner, house, datetime(2026, 3, 10, 23, 1, tzinfo=UTC))) is False
    assert is_signed(tuner, pull_at(tuner, house, datetime(2026, 3, 11, 9, 0, tzinfo=UTC))) is False


def test_it_holds_for_its_own_cell_and_its_own_ticket(owner: Any, house: Any, now: Any) -> None:
    other = owner.post("/api/v1/cells", json={**CELL, "name": "Cell two"}).json()
    sign(owner, house, cell_id=other["id"])
    now.advance(minutes=30)
    at = START + timedelta(minutes=10)
    assert is_signed(owner, pull_at(owner, house, at)) is False
    there = pull_at(owner, house, at + timedelta(minutes=1), cell_id=other["id"])
    assert there["safety_signed"] is True
    asked = {"customer_id": house.customer_id, "vehicle_id": house.vehicle_id, "asked": "another day"}
    ticket = owner.post("/api/v1/tickets", json=asked).json()
    setup = owner.post(f"/api/v1/tickets/{ticket['id']}/setups", json={"name": "Baseline"}).json()
    where = {"cell_id": other["id"], "ticket_id": ticket["id"], "setup_id": setup["id"]}
    assert pull_at(owner, house, at + timedelta(minutes=2), **where)["safety_signed"] is False


def test_what_was_signed_on_paper_counts_from_its_own_time_and_says_when_it_was_written_up(
    tuner: Any, house: Any, now: Any
) -> None:
    pull = pull_at(tuner, house, START - timedelta(minutes=5))
    paper = (START - timedelta(minutes=30)).isoformat()
    signed = sign(tuner, house, paper_at=paper).json()
    assert datetime.fromisoformat(signed["signed_at"]) == START - timedelta(minutes=30)
    assert signed["received_at"] == now.value.isoformat()
    assert is_signed(tuner, pull) is True
    assert "written up" in tuner.get(f"/tickets/{house.ticket_id}").text
    ahead = sign(tuner, house, paper_at=(now.value + timedelta(minutes=5)).isoformat())
    assert ahead.status_code == 422
    assert ahead.json()["problems"][0]["field"] == "paper_at"


def test_a_device_whose_clock_is_wrong_cannot_move_a_signing(tuner: Any, house: Any, now: Any) -> None:
    pull = pull_at(tuner, house, START - timedelta(minutes=5))
    sign(tuner, house, device_at=(START - timedelta(hours=3)).isoformat())
    assert is_signed(tuner, pull) is False


def test_a_new_list_holds_from_then_on_and_old_signings_keep_their_points(owner: Any, house: Any) -> None:
    old, signed = listed(owner), sign(owner, house).json()
    points = ["Straps tight", "Nobody in line with the car"]
    new = owner.post("/api/v1/checklists", json={"points": points, "replaces": 1})
    assert (new.status_code, new.json()["number"]) == (201, 2)
    assert owner.post("/api/v1/checklists", json={"points": points, "replaces": 1}).status_code == 409
    kept = owner.get(f"/api/v1/tickets/{house.ticket_id}/signings").json()["items"]
    assert kept == [signed]
    assert owner.get(f"/api/v1/checklists/{old['id']}").json() == old
    outdated = {"checklist_id": old["id"], "points": [{"done": True} for _ in old["points"]]}
    refused = sign(owner, house, **outdated)
    assert refused.status_code == 409
    assert "number 2 holds now" in refused.json()["detail"]
    paper = sign(owner, house, **outdated, paper_at=START.isoformat())
    assert paper.status_code == 201, paper.text


@pytest.mark.parametrize("field", ["cell_id", "checklist_id"])
def test_what_is_not_there_is_refused_by_its_field(tuner: Any, house: Any, field: str) -> None:
    answer = sign(tuner, house, **{field: "0123456789abc"})
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["field"] == field


def test_the_desk_does_not_sign_and_a_cancelled_ticket_is_not_signed_for(desk: Any, tuner: Any, house: Any) -> None:
    assert sign(desk, house).status_code == 403
    desk.post(f"/api/v1/tickets/{house.ticket_id}/steps", json={"state": "cancelled"})
    assert sign(tuner, house).status_code == 409


def test_going_into_the_cell_without_waiver_or_checklist_warns_and_does_not_stop(tuner: Any, house: Any) -> None:
    address = f"/api/v1/tickets/{house.ticket_id}"
    assert tuner.get(address).json()["warnings"] == []
    tuner.post(f"{address}/steps", json={"state": "checked_in"})
    gone = tuner.post(f"{address}/steps", json={"state": "in_cell"})
    assert gone.status_code == 201
    assert gone.json()["state"] == "in_cell"
    assert [warning.split()[0] for warning in gone.json()["warnings"]] == ["The", "Nobody"]
    sign(tuner, house, cell_id=house.cell_id)
    version = gone.json()["version"]
    tuner.patch(address, json={"version": version, "waiver_name": "I. M.", "cell_id": house.cell_id})
    assert tuner.get(address).json()["warnings"] == []
