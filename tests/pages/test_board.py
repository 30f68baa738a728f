"""Today's board: who is where, and when, by the shop's own clock."""

import re
from typing import Any

from tests.furnishing import DESK, made, sign_in


def _book(desk: Any, house: Any, begins: str, ends: str, asked: str) -> dict[str, Any]:
    wanted = {
        "customer_id": house.customer_id,
        "vehicle_id": house.vehicle_id,
        "cell_id": house.cell_id,
        "asked": asked,
        "booked_from": begins,
        "booked_to": ends,
    }
    return made(desk.post("/api/v1/tickets", json=wanted))


def _booked(page: str) -> list[tuple[int, str]]:
    """Each booking on the day's table: its half hours and what it says."""
    found = re.findall(r'<td colspan="(\d+)" class="booked"><a[^>]*>(.*?)</a>', page, flags=re.DOTALL)
    return [(int(half_hours), re.sub(r"<[^>]+>", " ", words)) for half_hours, words in found]


def test_a_booking_stands_in_its_cells_hours_on_the_shops_clock(desk: Any, house: Any) -> None:
    ticket = _book(desk, house, "2026-03-10T12:00:00+00:00", "2026-03-10T13:30:00+00:00", "x")
    ((half_hours, words),) = [one for one in _booked(desk.get("/").text) if str(ticket["number"]) in one[1]]
    assert half_hours == 3
    assert "13:00–14:30" in words  # Vienna is an hour ahead


def test_tomorrows_booking_is_not_todays(desk: Any, house: Any) -> None:
    before = len(_booked(desk.get("/").text))
    _book(desk, house, "2026-03-11T12:00:00+00:00", "2026-03-11T13:00:00+00:00", "tomorrow")
    page = desk.get("/").text
    assert len(_booked(page)) == before
    assert "tomorrow" in page  # it is still among the booked


def test_a_booking_that_ends_after_midnight_stays_inside_the_day(desk: Any, house: Any) -> None:
    _book(desk, house, "2026-03-10T22:00:00+00:00", "2026-03-11T02:00:00+00:00", "night")
    page = desk.get("/").text
    assert "23:00" in page
    assert [half_hours for half_hours, words in _booked(page) if "23:00–03:00" in words] == [2]


def test_two_at_once_in_one_cell_get_a_row_each(desk: Any, house: Any) -> None:
    first = _book(desk, house, "2026-03-10T12:00:00+00:00", "2026-03-10T14:00:00+00:00", "first")
    for state in ("checked_in", "in_cell", "ready"):
        made(desk.post(f"/api/v1/tickets/{first['id']}/steps", json={"state": state, "note": ""}))
    _book(desk, house, "2026-03-10T12:30:00+00:00", "2026-03-10T13:30:00+00:00", "second")
    assert 'rowspan="2"' in desk.get("/").text


def test_every_row_of_the_day_is_as_wide_as_the_day(desk: Any, house: Any) -> None:
    _book(desk, house, "2026-03-10T05:15:00+00:00", "2026-03-10T07:45:00+00:00", "odd times")
    page = desk.get("/").text
    body = page.split('<table class="day">')[1].split("</table>")[0]
    hours = body.count('<th scope="col" colspan="2">')
    for row in re.findall(r"<tr>(.*?)</tr>", body.split("<tbody>")[1], flags=re.DOTALL):
        width = sum(int(span or 1) for span in re.findall(r"<td(?: colspan=\"(\d+)\")?", row))
        assert width == 2 * hours


def test_a_ticket_collected_today_stays_on_the_board_until_midnight(desk: Any, house: Any, now: Any) -> None:
    ticket = _book(desk, house, "2026-03-10T12:00:00+00:00", "2026-03-10T13:00:00+00:00", "collected one")
    for state in ("checked_in", "in_cell", "ready", "collected"):
        made(desk.post(f"/api/v1/tickets/{ticket['id']}/steps", json={"state": state, "note": ""}))
    assert "collected one" in desk.get("/").text
    now.advance(hours=13)  # 23:00 in Vienna
    sign_in(desk, DESK)  # a session lasts half a day
    assert "collected one" in desk.get("/").text
    now.advance(minutes=61)
    assert "collected one" not in desk.get("/").text


def test_an_empty_shop_is_told_what_to_do(owner: Any) -> None:
    page = owner.get("/").text
    assert "There is no cell yet." in page
    assert "Add the first one" in page
    assert "Open the first one" in page
    assert "Add a cell first." in owner.get("/weather").text
    assert "Add it, then its calibration" in owner.get("/cells").text
    for path in ("/cells", "/staff", "/shop", "/weather", "/tickets/new"):
        assert f'<a href="{path}">' in page.split("To begin")[1], path


def test_the_way_to_begin_is_gone_with_the_first_ticket(owner: Any, desk: Any, house: Any) -> None:
    assert "To begin" not in owner.get("/").text
    assert "To begin" not in desk.get("/").text


def test_a_clash_is_told_on_the_shops_clock(desk: Any, house: Any) -> None:
    first = _book(desk, house, "2026-03-12T12:00:00+00:00", "2026-03-12T13:30:00+00:00", "first")
    wanted = {
        "customer_id": house.customer_id, "vehicle_id": house.vehicle_id, "cell_id": house.cell_id, "asked": "second",
        "booked_from": "2026-03-12T13:00:00+00:00", "booked_to": "2026-03-12T14:00:00+00:00",
    }  # fmt: skip
    refused = desk.post("/api/v1/tickets", json=wanted)
    assert refused.status_code == 409
    assert f"taken by ticket {first['number']}: Thu 12 Mar, 13:00 to 14:30." in refused.json()["detail"]
