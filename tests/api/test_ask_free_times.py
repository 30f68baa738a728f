"""Asking where a cell is free: within the hours offered, by the shop's clock, around what is booked."""

from typing import Any


def _free(desk: Any, **asked: Any) -> list[tuple[str, str, str]]:
    answer = desk.get("/api/v1/free-times", params=asked)
    assert answer.status_code == 200, answer.text
    return [(one["cell_name"], one["begins_at"], one["ends_at"]) for one in answer.json()["items"]]


def _book(desk: Any, house: Any, begins: str, ends: str) -> dict[str, Any]:
    wanted = {"customer_id": house.customer_id, "vehicle_id": house.vehicle_id, "asked": "x", "cell_id": house.cell_id}
    kept = desk.post("/api/v1/tickets", json=wanted | {"booked_from": begins, "booked_to": ends})
    assert kept.status_code == 201, kept.text
    return dict(kept.json())


def test_a_cell_is_free_around_what_is_booked_and_from_now_on(desk: Any, house: Any, now: Any) -> None:
    _book(desk, house, "2026-03-10T11:00:00+00:00", "2026-03-10T12:30:00+00:00")
    now.advance(minutes=7)
    assert _free(desk, days=1) == [
        ("Cell one", "2026-03-10T09:15:00+00:00", "2026-03-10T11:00:00+00:00"),
        ("Cell one", "2026-03-10T12:30:00+00:00", "2026-03-10T17:00:00+00:00"),
    ]


def test_a_cancelled_booking_and_a_car_that_is_ready_let_their_time_go(desk: Any, house: Any) -> None:
    first = _book(desk, house, "2026-03-11T07:00:00+00:00", "2026-03-11T12:00:00+00:00")
    second = _book(desk, house, "2026-03-11T12:00:00+00:00", "2026-03-11T17:00:00+00:00")
    assert _free(desk, day="2026-03-11", days=1) == []
    desk.post(f"/api/v1/tickets/{first['id']}/steps", json={"state": "cancelled"})
    for state in ("checked_in", "in_cell", "ready"):
        desk.post(f"/api/v1/tickets/{second['id']}/steps", json={"state": state})
    day = [("Cell one", "2026-03-11T07:00:00+00:00", "2026-03-11T17:00:00+00:00")]
    assert _free(desk, day="2026-03-11", days=1) == day


def test_the_hours_offered_follow_the_clock_over_its_change(desk: Any, house: Any) -> None:
    # Saturday at UTC+1, Sunday 2026-03-29 at UTC+2 (Directive 2000/84/EC); from 8 to 18 on both
    assert [(begins, ends) for _, begins, ends in _free(desk, day="2026-03-28", days=2)] == [
        ("2026-03-28T07:00:00+00:00", "2026-03-28T17:00:00+00:00"),
        ("2026-03-29T06:00:00+00:00", "2026-03-29T16:00:00+00:00"),
    ]


def test_a_booking_over_midnight_takes_its_part_of_both_days(desk: Any, house: Any) -> None:
    _book(desk, house, "2026-03-12T16:00:00+00:00", "2026-03-13T08:30:00+00:00")
    assert [(begins, ends) for _, begins, ends in _free(desk, day="2026-03-12", days=2)] == [
        ("2026-03-12T07:00:00+00:00", "2026-03-12T16:00:00+00:00"),
        ("2026-03-13T08:30:00+00:00", "2026-03-13T17:00:00+00:00"),
    ]


def test_what_is_past_is_not_offered(desk: Any, house: Any) -> None:
    assert _free(desk, day="2026-03-02", days=7) == []


def test_a_day_that_the_calendar_leapt_over_has_no_free_times(owner: Any, house: Any) -> None:
    # Samoa went from Thursday 29 to Saturday 31 December 2011 (IANA time zone database, file australasia)
    shop = owner.get("/api/v1/shop").json()
    assert owner.put("/api/v1/shop", json={**shop, "time_zone": "Pacific/Apia"}).status_code == 200
    assert owner.get("/api/v1/free-times", params={"day": "2011-12-30", "days": 1}).status_code == 422
    assert owner.get("/api/v1/free-times", params={"day": "2011-12-29", "days": 3}).status_code == 200
    assert owner.get("/", params={"day": "2011-12-30"}).status_code == 422


def test_days_out_of_reach_are_refused(desk: Any) -> None:
    for asked in ({"days": 0}, {"days": 32}, {"day": "2200-12-30", "days": 5}, {"day": "soon"}):
        assert desk.get("/api/v1/free-times", params=asked).status_code == 422, asked
