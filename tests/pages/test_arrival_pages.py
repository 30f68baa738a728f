"""What pages show of a car's arrival: noted, photographed, accepted, gone through, and on paper."""

from typing import Any

from tests.api.pull_files import Steady, filed
from tests.api.test_keep_photos import picture, send
from tests.api.test_sign_checklist import listed, sign
from tests.conftest import PUBLIC_URL

BODY = "We run your car on our rollers & you tell us what you know of its faults. <Both> of us sign."


def _ticket(client: Any, house: Any, **changes: Any) -> str:
    address = f"/api/v1/tickets/{house.ticket_id}"
    if changes:
        answer = client.patch(address, json={"version": client.get(address).json()["version"], **changes})
        assert answer.status_code == 200, answer.text
    return client.get(f"/tickets/{house.ticket_id}").text


def test_a_ticket_shows_what_was_noted_as_the_car_came(desk: Any, house: Any) -> None:
    assert "Nothing is noted yet" in _ticket(desk, house)
    page = _ticket(desk, house, fuel_eighths=5, key_count=2, keys_where="Board, hook 7", arrival_notes="<b>dent</b>")
    for words in ("5/8 of a tank", "2, Board, hook 7", "&lt;b&gt;dent&lt;/b&gt;"):
        assert words in page


def test_a_ticket_shows_its_photos_and_apart_from_them_those_set_aside(desk: Any, house: Any) -> None:
    assert "No photo yet" in _ticket(desk, house)
    photo = send(desk, house, picture(), caption="front left").json()
    page = _ticket(desk, house)
    assert f"/api/v1/photos/{photo['id']}/thumbnail" in page
    assert 'alt="front left"' in page
    desk.post(f"/api/v1/photos/{photo['id']}/set-aside", json={"reason": "another car"})
    page = _ticket(desk, house)
    assert f"/api/v1/photos/{photo['id']}/thumbnail" not in page
    assert "another car" in page


def test_a_ticket_leads_to_the_very_text_that_was_accepted(owner: Any, house: Any) -> None:
    _ticket(owner, house, waiver_name="I. M.")
    owner.post("/api/v1/waivers", json={"body": BODY, "replaces": 1})
    page = _ticket(owner, house)
    assert "/waiver?version=1" in page
    assert "Version 2 is in force by now" in page
    assert "not legal advice" in owner.get("/waiver?version=1").text
    newest = owner.get("/waiver").text
    assert "&lt;Both&gt; of us sign" in newest
    assert owner.get("/waiver?version=3").status_code == 404


def test_only_an_owner_is_offered_to_write_texts_anew(desk: Any, owner: Any) -> None:
    for path in ("/waiver", "/checklist"):
        assert "Write it anew" not in desk.get(path).text
        assert "Write it anew" in owner.get(path).text


def test_before_it_goes_into_the_cell_the_page_says_what_is_missing(tuner: Any, house: Any) -> None:
    tuner.post(f"/api/v1/tickets/{house.ticket_id}/steps", json={"state": "checked_in"})
    assert "Before it goes into the cell:" in _ticket(tuner, house)
    sign(tuner, house)
    assert "Before it goes into the cell:" not in _ticket(tuner, house, waiver_name="I. M.", cell_id=house.cell_id)


def test_a_pull_that_nobody_signed_for_is_marked_on_the_ticket(tuner: Any, house: Any, now: Any) -> None:
    filed(tuner, house, Steady().csv())
    assert "not signed for</span>" in _ticket(tuner, house)
    sign(tuner, house)
    now.advance(minutes=5)
    assert _ticket(tuner, house).count("not signed for</span>") == 1, "signed later, it stays marked"
    filed(tuner, house, Steady(gain_rad_s2=7.5).csv(), taken_at=now.value.isoformat())
    assert _ticket(tuner, house).count("not signed for</span>") == 1


def test_a_point_that_was_noted_and_a_device_whose_clock_was_off_are_told(tuner: Any, house: Any) -> None:
    points = [{"done": True} for _ in listed(tuner)["points"]]
    points[0] = {"done": False, "note": "rear only, <front> on the frame"}
    sign(tuner, house, points=points, device_at="2026-03-10T05:00:00+00:00")
    page = _ticket(tuner, house)
    assert "rear only, &lt;front&gt; on the frame" in page
    assert "own clock said Tue 10 Mar, 06:00" in page


def test_the_job_sheet_says_all_on_one_sheet_and_leads_back(desk: Any, tuner: Any, house: Any) -> None:
    _ticket(desk, house, asked="word " * 400, fuel_eighths=8, odometer_km=84210)
    sheet = desk.get(f"/tickets/{house.ticket_id}/job-sheet").text
    assert f"{PUBLIC_URL}/tickets/{house.ticket_id}" in sheet
    assert "<svg" in sheet
    assert "the whole text stands on the ticket" in sheet
    assert "not accepted yet" in sheet
    for words in ("Ilse Marchetti-Vonn", "QX 418 T", "84\u202f210 km", "full", *listed(desk)["points"]):
        assert words in sheet
    assert desk.get("/tickets/0123456789abc/job-sheet").status_code == 404


def test_the_checklist_at_the_car_is_for_those_who_may_sign(tuner: Any, desk: Any, house: Any) -> None:
    page = tuner.get(f"/tickets/{house.ticket_id}/check").text
    assert page.count("data-point") == len(listed(tuner)["points"])
    assert "licensed practice" in page
    assert desk.get(f"/tickets/{house.ticket_id}/check").status_code == 403
