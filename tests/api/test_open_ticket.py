"""Opening a ticket: its number, its booking, its parts."""

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

FROM, TO = "2026-03-12T09:00:00+01:00", "2026-03-12T11:00:00+01:00"


def _ticket(house: Any, **changes: Any) -> dict[str, Any]:
    return {"customer_id": house.customer_id, "vehicle_id": house.vehicle_id, "asked": "Runs rich", **changes}


def test_it_keeps_what_was_sent_and_logs_the_first_step(desk: Any, house: Any, now: Any) -> None:
    asked = _ticket(house, cell_id=house.cell_id, booked_from=FROM, booked_to=TO, waiver_name="I. Marchetti")
    answer = desk.post("/api/v1/tickets", json=asked)
    assert answer.status_code == 201, answer.text
    kept = answer.json()
    assert kept["number"] == 2  # the house has the first
    assert kept["state"] == "booked"
    assert kept["vehicle_title"] == "2019 Corvane Stilt 2.0"
    assert kept["cell_name"] == "Cell one"
    assert kept["booked_from"] == "2026-03-12T08:00:00+00:00"
    assert kept["waiver_at"] == now.value.isoformat()
    assert [(step["state"], step["by_name"]) for step in kept["steps"]] == [("booked", "Wren Castellane")]
    assert desk.get(f"/api/v1/tickets/{kept['id']}").json() == kept


def test_numbers_have_no_gap_after_a_refusal(desk: Any, house: Any) -> None:
    first = desk.post("/api/v1/tickets", json=_ticket(house, cell_id=house.cell_id, booked_from=FROM, booked_to=TO))
    refused = desk.post("/api/v1/tickets", json=_ticket(house, cell_id=house.cell_id, booked_from=FROM, booked_to=TO))
    third = desk.post("/api/v1/tickets", json=_ticket(house))
    assert (first.status_code, refused.status_code, third.status_code) == (201, 409, 201)
    assert third.json()["number"] == first.json()["number"] + 1


def test_many_at_once_get_numbers_without_gap_or_double(client_for: Any, house: Any) -> None:
    clients = [client_for("front_desk") for _ in range(4)]

    def several(client: Any) -> list[int]:
        return [client.post("/api/v1/tickets", json=_ticket(house)).json()["number"] for _ in range(5)]

    with ThreadPoolExecutor(4) as people:
        numbers = [number for some in people.map(several, clients) for number in some]
    assert sorted(numbers) == list(range(2, 22))


def test_a_taken_cell_names_the_ticket_that_holds_it(desk: Any, house: Any) -> None:
    booked = {"cell_id": house.cell_id, "booked_from": FROM, "booked_to": TO}
    holder = desk.post("/api/v1/tickets", json=_ticket(house, **booked)).json()
    later = {"booked_from": "2026-03-12T10:59:00+01:00", "booked_to": "2026-03-12T12:00:00+01:00"}
    answer = desk.post("/api/v1/tickets", json=_ticket(house, cell_id=house.cell_id, **later))
    assert answer.status_code == 409
    assert f"ticket {holder['number']}" in answer.json()["detail"]


def test_two_bookings_of_one_hour_at_once_give_one(client_for: Any, house: Any) -> None:
    clients = [client_for("front_desk") for _ in range(4)]
    asked = _ticket(house, cell_id=house.cell_id, booked_from=FROM, booked_to=TO)
    with ThreadPoolExecutor(4) as people:
        codes = list(people.map(lambda client: client.post("/api/v1/tickets", json=asked).status_code, clients))
    assert sorted(codes) == [201, 409, 409, 409]


def test_hours_that_only_touch_do_not_clash(desk: Any, house: Any) -> None:
    booked = {"cell_id": house.cell_id, "booked_from": FROM, "booked_to": TO}
    after = {"cell_id": house.cell_id, "booked_from": TO, "booked_to": "2026-03-12T12:00:00+01:00"}
    assert desk.post("/api/v1/tickets", json=_ticket(house, **booked)).status_code == 201
    assert desk.post("/api/v1/tickets", json=_ticket(house, **after)).status_code == 201


def test_a_cancelled_ticket_lets_its_hours_go_and_cannot_take_them_back(desk: Any, house: Any) -> None:
    booked = {"cell_id": house.cell_id, "booked_from": FROM, "booked_to": TO}
    first = desk.post("/api/v1/tickets", json=_ticket(house, **booked)).json()
    desk.post(f"/api/v1/tickets/{first['id']}/steps", json={"state": "cancelled"})
    second = desk.post("/api/v1/tickets", json=_ticket(house, **booked))
    assert second.status_code == 201
    again = desk.post(f"/api/v1/tickets/{first['id']}/steps", json={"state": "booked"})
    assert again.status_code == 409
    assert f"ticket {second.json()['number']}" in again.json()["detail"]
    assert desk.get(f"/api/v1/tickets/{first['id']}").json()["state"] == "cancelled"


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"vehicle_id": "0123456789abc"}, "vehicle_id"),
        ({"customer_id": "0123456789abc"}, "customer_id"),
        ({"cell_id": "0123456789abc"}, "cell_id"),
        ({"booked_from": FROM}, "booked_to"),
        ({"booked_from": TO, "booked_to": FROM}, "booked_to"),
        ({"booked_from": "2026-03-12T09:00:00", "booked_to": TO}, "booked_from"),
        ({"asked": ""}, "asked"),
        ({"number": 7}, "number"),
    ],
)
def test_it_names_the_field_that_cannot_be(desk: Any, house: Any, changes: dict[str, Any], field: str) -> None:
    answer = desk.post("/api/v1/tickets", json=_ticket(house, **changes))
    assert answer.status_code == 422, answer.text
    assert answer.json()["problems"][0]["field"] == field


def test_it_finds_by_number_customer_plate_and_day(desk: Any, house: Any) -> None:
    late = {"booked_from": "2026-03-12T23:30:00+01:00", "booked_to": "2026-03-13T00:30:00+01:00"}
    kept = desk.post("/api/v1/tickets", json=_ticket(house, **late)).json()
    for asked in ({"find": "marchetti qx418"}, {"find": f"#{kept['number']}"}, {"day": "2026-03-12"}):
        found = [one["id"] for one in desk.get("/api/v1/tickets", params=asked).json()["items"]]
        assert kept["id"] in found, asked
    assert desk.get("/api/v1/tickets", params={"day": "2026-03-13"}).json()["items"] == []
    assert desk.get("/api/v1/tickets", params={"find": "nobody"}).json()["items"] == []


def test_it_finds_by_state(desk: Any, house: Any) -> None:
    kept = desk.post("/api/v1/tickets", json=_ticket(house)).json()
    desk.post(f"/api/v1/tickets/{kept['id']}/steps", json={"state": "checked_in"})
    found = desk.get("/api/v1/tickets", params={"state": ["checked_in", "in_cell"]}).json()["items"]
    assert [one["id"] for one in found] == [kept["id"]]


@pytest.fixture
def listed(owner: Any) -> list[str]:
    """Two items of the price list."""
    made = []
    for name, cents in (("Session on the rollers", 9500), ("Engine map", 48000)):
        item = {"name": name, "kind_of_work": "measuring", "unit_price_cents": cents, "tax_rate_bp": 2000}
        made.append(owner.post("/api/v1/price-items", json=item).json()["id"])
    return made


def test_work_from_the_price_list_is_charged_as_the_ticket_is_opened(
    desk: Any, owner: Any, house: Any, listed: list[str]
) -> None:
    kept = desk.post("/api/v1/tickets", json=_ticket(house, price_item_ids=listed))
    assert kept.status_code == 201, kept.text
    owner.patch(f"/api/v1/price-items/{listed[0]}", json={"version": 1, "unit_price_cents": 99900})
    told = desk.get(f"/api/v1/tickets/{kept.json()['id']}/charges").json()
    charged = {(one["price_item_id"], one["unit_price_cents"]) for one in told["charges"]}
    assert charged == {(listed[0], 9500), (listed[1], 48000)}
    assert told["total_cents"] == 69000
    trail = owner.get("/api/v1/audit").json()["items"]
    assert [one["record"] for one in trail[:4] if one["action"] == "charge"] == ["charge", "charge"]


def test_an_item_that_is_not_on_the_list_opens_no_ticket_and_takes_no_number(
    desk: Any, owner: Any, house: Any, listed: list[str]
) -> None:
    owner.patch(f"/api/v1/price-items/{listed[1]}", json={"version": 1, "on_the_list": False})
    refused = desk.post("/api/v1/tickets", json=_ticket(house, price_item_ids=listed))
    assert refused.status_code == 422
    assert refused.json()["problems"][0]["field"] == "price_item_ids"
    assert desk.post("/api/v1/tickets", json=_ticket(house)).json()["number"] == 2


def test_a_booking_longer_than_a_month_is_a_slip_of_the_pen(desk: Any, house: Any) -> None:
    booked = {"cell_id": house.cell_id, "booked_from": FROM, "booked_to": "2027-03-12T11:00:00+01:00"}
    refused = desk.post("/api/v1/tickets", json=_ticket(house, **booked))
    assert refused.status_code == 422
    assert refused.json()["problems"][0]["field"] == "booked_to"
