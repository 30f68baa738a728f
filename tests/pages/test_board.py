"""The board: who is where, and when, by the shop's own clock; on any day, the nights of the clock changes included."""

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
    """Each booking on the day's table: its quarters of an hour and what it says."""
    found = re.findall(r'<td colspan="(\d+)" class="booked"><a[^>]*>(.*?)</a>', page, flags=re.DOTALL)
    return [(int(quarters), re.sub(r"<[^>]+>", " ", words)) for quarters, words in found]


def _hours(page: str) -> list[tuple[str, int]]:
    """The day's hours as the table's head names them, and how many quarters each takes."""
    head = page.split("<thead>")[1].split("</thead>")[0]
    return [(name, int(span)) for span, name in re.findall(r'colspan="(\d+)">([^<]+)</th>', head)]


def _begins_at(page: str, words: str) -> int:
    """Where on its row a booking lies, in quarters from the first hour shown."""
    for row in page.split("<tbody>")[1].split("</tbody>")[0].split("<tr>"):
        at = 0
        for span, inside in re.findall(r'<td colspan="(\d+)"[^>]*>(.*?)</td>', row, flags=re.DOTALL):
            if words in inside:
                return at
            at += int(span)
    raise AssertionError(f"{words} is on no row")


def test_a_booking_stands_in_its_cells_hours_on_the_shops_clock(desk: Any, house: Any) -> None:
    ticket = _book(desk, house, "2026-03-10T12:00:00+00:00", "2026-03-10T13:30:00+00:00", "x")
    ((quarters, words),) = [one for one in _booked(desk.get("/").text) if str(ticket["number"]) in one[1]]
    assert quarters == 6
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
    assert [quarters for quarters, words in _booked(page) if "23:00–03:00" in words] == [4]


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
    for row in re.findall(r"<tr>(.*?)</tr>", body.split("<tbody>")[1], flags=re.DOTALL):
        width = sum(int(span) for span in re.findall(r"<td colspan=\"(\d+)\"", row))
        assert width == sum(quarters for _, quarters in _hours(page)) == 4 * len(_hours(page))


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


def test_any_day_has_its_plan_at_its_own_address(desk: Any, house: Any) -> None:
    ticket = _book(desk, house, "2026-05-04T08:15:00+00:00", "2026-05-04T09:45:00+00:00", "in May")
    page = desk.get("/?day=2026-05-04").text
    ((quarters, words),) = _booked(page)
    assert (quarters, str(ticket["number"]) in words, "10:15–11:45" in words) == (6, True, True)
    assert _begins_at(page, "10:15–11:45") == (10 - 8) * 4 + 1
    assert "Monday, 4 May" in page
    assert "in May" in page.split('id="states"')[1]
    for day in ("2026-05-03", "2026-05-05"):
        assert f'href="/?day={day}"' in page
        assert _booked(desk.get(f"/?day={day}").text) == []
    assert "Back to today" in page
    assert "Nothing is booked on this day." in desk.get("/?day=2026-05-05").text


def test_the_week_tells_how_much_is_booked_on_each_day(desk: Any, house: Any) -> None:
    for day, hours in ((4, (8, 9)), (4, (10, 11)), (6, (8, 9))):
        begins, ends = (f"2026-05-0{day}T{hour:02d}:00:00+00:00" for hour in hours)
        _book(desk, house, begins, ends, "x")
    week = desk.get("/?day=2026-05-07").text.split('class="week"')[1].split("</nav>")[0]
    told = [" ".join(re.sub(r"<[^>]+>", " ", one).split()) for one in re.findall(r"<a class=.week-day.*?</a>", week)]
    assert told[0] == "Mon 4 2 booked"
    assert told[2] == "Wed 6 1 booked"
    assert told[6] == "Sun 10 – nothing booked"


def test_in_the_night_the_clocks_go_forward_the_missing_hour_is_not_there(desk: Any, house: Any) -> None:
    # Central European rules: 2026-03-29 at 01:00 UTC from 02:00 to 03:00 (Directive 2000/84/EC)
    _book(desk, house, "2026-03-28T23:30:00+00:00", "2026-03-29T02:00:00+00:00", "over the change")
    page = desk.get("/?day=2026-03-29").text
    hours = [name for name, _ in _hours(page)]
    assert hours[:4] == ["00:00", "01:00", "03:00", "04:00"]
    assert [(quarters, "00:30–04:00" in words) for quarters, words in _booked(page)] == [(10, True)]
    assert _begins_at(page, "00:30–04:00") == 2
    assert "02:00" not in hours


def test_in_the_night_the_clocks_go_back_the_hour_is_there_twice_and_told_apart(desk: Any, house: Any) -> None:
    # 2026-10-25 at 01:00 UTC from 03:00 back to 02:00 (the same directive)
    first = _book(desk, house, "2026-10-25T00:00:00+00:00", "2026-10-25T01:00:00+00:00", "the first two o'clock")
    second = _book(desk, house, "2026-10-25T01:00:00+00:00", "2026-10-25T02:00:00+00:00", "the second two o'clock")
    page = desk.get("/?day=2026-10-25").text
    hours = [name for name, _ in _hours(page)]
    assert hours[:3] == ["02:00 CEST", "02:00 CET", "03:00"]
    assert [quarters for quarters, _ in _booked(page)] == [4, 4]
    assert _begins_at(page, f'data-number="{first["number"]}"') == 0
    assert _begins_at(page, f'data-number="{second["number"]}"') == 4


def test_what_is_free_is_offered_from_now_on_to_those_who_may_write(desk: Any, client_for: Any, house: Any) -> None:
    _book(desk, house, "2026-03-10T11:00:00+00:00", "2026-03-10T12:00:00+00:00", "noon")
    page = desk.get("/").text  # it is ten o'clock in Vienna
    offers = re.findall(r'data-free="([^"]+)" data-free-to="([^"]+)"', page)
    assert offers == [
        ("2026-03-10T09:00:00+00:00", "2026-03-10T11:00:00+00:00"),
        ("2026-03-10T12:00:00+00:00", "2026-03-10T17:00:00+00:00"),
    ]
    assert "data-free" not in desk.get("/?day=2026-03-09").text
    assert "data-free" not in client_for("read_only").get("/").text


def test_a_day_out_of_reach_or_no_day_at_all_is_refused_in_words(desk: Any) -> None:
    for day in ("1899-12-31", "2201-01-01", "0001-01-01", "9999-12-31", "soon"):
        answer = desk.get("/", params={"day": day}, headers={"Accept": "text/html"})
        assert answer.status_code == 422, day


def test_who_only_reads_is_offered_nothing_that_opens_a_ticket_or_changes_one(
    client_for: Any, owner: Any, house: Any
) -> None:
    reader = client_for("read_only")
    for path in ("/", "/?day=2030-01-07"):
        assert 'href="/tickets/new"' not in reader.get(path).text
        assert 'href="/tickets/new"' in owner.get(path).text
    ticket = f"/tickets/{house.ticket_id}"
    assert 'id="rebooking"' not in reader.get(ticket).text
    assert 'id="rebooking"' in owner.get(ticket).text
    assert "data-correct" not in reader.get("/weather").text
    assert "data-correct" in owner.get("/weather").text


def test_who_does_not_own_reads_the_price_list_as_lines(client_for: Any, owner: Any, house: Any) -> None:
    asked = {"name": "Fitting work", "unit_price_cents": 7600, "tax_rate_bp": 2100, "unit": "hour"}
    assert owner.post("/api/v1/price-items", json=asked).status_code == 201
    page = client_for("read_only").get("/prices").text
    assert "Fitting work" in page
    assert '<details class="card">' not in page
    assert '<details class="card">' in owner.get("/prices").text
