"""Opening a results link: one refusal whatever the reason, a PIN where one is wanted, and looks counted by the day."""

import re
from datetime import timedelta
from typing import Any

import pytest

from pullbook.api.link_door import COUNTED_LOOKS
from pullbook.shop.opening import MISSES_BY_ADDRESS
from pullbook.shop.unlocking import WRONG_FOR_LINK
from tests.api.pull_files import Steady, filed
from tests.furnishing import DESK, OWNER, sign_in

PIN = "Kessel 47 rot"
SAFE_TO_DIFFER = {"x-request-id"}


@pytest.fixture
def pulls(tuner: Any, house: Any) -> list[str]:
    return [filed(tuner, house, Steady(gain_rad_s2=8.0).csv())["id"]]


def published(client: Any, house: Any, pulls: list[str], **changes: Any) -> dict[str, Any]:
    """A link, with its `path`."""
    asked = {"pull_ids": pulls, "standard": "iso_1585", **changes}
    answer = client.post(f"/api/v1/tickets/{house.ticket_id}/results-links", json=asked)
    assert answer.status_code == 201, answer.text
    return {**answer.json(), "path": answer.json()["url"].removeprefix("http://pulls.example.test")}


def _told(answer: Any) -> tuple[Any, ...]:
    """All that a stranger can tell two answers apart by, but for the time they took."""
    headers = {name: value for name, value in answer.headers.items() if name not in SAFE_TO_DIFFER}
    return answer.status_code, answer.content, headers


def test_unknown_ended_and_revoked_are_one_answer_in_status_body_and_headers(
    desk: Any, anonymous: Any, house: Any, now: Any, pulls: list[str]
) -> None:
    revoked, ended = published(desk, house, pulls), published(desk, house, pulls, days=1)
    locked = published(desk, house, pulls, days=1, pin=PIN)
    desk.delete(f"/api/v1/results-links/{revoked['id']}")
    now.advance(days=1)
    told = {str(_told(anonymous.get(path))) for path in (revoked["path"], ended["path"], locked["path"], "/r/never")}
    assert len(told) == 1
    answer = anonymous.get(revoked["path"])
    assert answer.status_code == 404
    assert "Ask the shop" in answer.text
    assert answer.headers["cache-control"] == "no-store"
    assert "noindex" in answer.headers["x-robots-tag"]
    assert answer.headers["referrer-policy"] == "no-referrer"


def test_posting_to_a_link_that_is_none_tells_no_more(desk: Any, anonymous: Any, house: Any, pulls: list[str]) -> None:
    revoked = published(desk, house, pulls, pin=PIN)
    desk.delete(f"/api/v1/results-links/{revoked['id']}")
    for path in ("/r/never", revoked["path"]):
        assert anonymous.post(f"{path}/opened").status_code == 204
        assert anonymous.post(f"{path}/pin", data={"pin": PIN}).status_code == 404


def test_guessing_is_slowed_and_a_good_link_opens_all_the_while(
    desk: Any, anonymous: Any, house: Any, now: Any, pulls: list[str]
) -> None:
    link = published(desk, house, pulls)
    statuses = [anonymous.get(f"/r/guess-{number}").status_code for number in range(MISSES_BY_ADDRESS.burst + 5)]
    assert statuses == [404] * MISSES_BY_ADDRESS.burst + [429] * 5
    slowed = anonymous.get("/r/guess")
    assert slowed.status_code == 429
    assert slowed.text == anonymous.get("/r/another").text
    assert "Ask the shop" in slowed.text
    assert anonymous.get(link["path"]).status_code == 200, "from the same address"
    now.advance(seconds=MISSES_BY_ADDRESS.seconds_each)
    assert anonymous.get("/r/guess").status_code == 404


def test_a_link_with_a_pin_shows_nothing_before_it_is_given(
    desk: Any, anonymous: Any, house: Any, pulls: list[str]
) -> None:
    link = published(desk, house, pulls, pin=PIN)
    asked = anonymous.get(link["path"])
    assert asked.status_code == 200
    assert 'name="pin"' in asked.text
    for private in ("Corvane", "Quarrystone", "<svg", "KVM"):
        assert private not in asked.text
    assert "form-action 'self'" in asked.headers["content-security-policy"]
    assert asked.headers["cache-control"] == "no-store"


def test_the_pin_opens_it_for_a_while_by_a_cookie_of_this_link_alone(
    desk: Any, anonymous: Any, house: Any, now: Any, pulls: list[str]
) -> None:
    link, other = published(desk, house, pulls, pin=PIN), published(desk, house, pulls, pin=PIN)
    given = anonymous.post(f"{link['path']}/pin", data={"pin": "kessel47ROT"})
    assert given.status_code == 303
    assert given.headers["location"] == link["path"]
    cookie = given.headers["set-cookie"]
    assert f"Path={link['path']};" in cookie
    assert "HttpOnly" in cookie
    assert "SameSite=lax" in cookie
    assert int(re.search(r"Max-Age=(\d+)", cookie).group(1)) <= 2 * 3600
    assert "Corvane" in anonymous.get(link["path"]).text
    value = anonymous.cookies.get("results", path=link["path"])
    stolen = anonymous.get(other["path"], headers={"Cookie": f"results={value}"})
    assert 'name="pin"' in stolen.text, "another link's cookie opens nothing"
    now.advance(hours=3)
    late = anonymous.get(link["path"], headers={"Cookie": f"results={value}"})
    assert 'name="pin"' in late.text, "kept beyond its time, it opens nothing"


def test_another_pin_ends_what_the_old_one_opened(desk: Any, anonymous: Any, house: Any, pulls: list[str]) -> None:
    link = published(desk, house, pulls, pin=PIN)
    anonymous.post(f"{link['path']}/pin", data={"pin": PIN})
    assert "Corvane" in anonymous.get(link["path"]).text
    changed = desk.patch(f"/api/v1/results-links/{link['id']}", json={"version": 1, "pin": "839201"})
    assert changed.status_code == 200, changed.text
    assert 'name="pin"' in anonymous.get(link["path"]).text
    without = desk.patch(f"/api/v1/results-links/{link['id']}", json={"version": 2, "pin": ""})
    assert without.json()["wants_pin"] is False
    assert "Corvane" in anonymous.get(link["path"]).text


def test_wrong_pins_are_slowed_for_that_link_and_nobody_elses(
    desk: Any, anonymous: Any, house: Any, now: Any, pulls: list[str]
) -> None:
    link, other = published(desk, house, pulls, pin=PIN), published(desk, house, pulls, pin=PIN)
    tries = [anonymous.post(f"{link['path']}/pin", data={"pin": "wrong"}) for _ in range(WRONG_FOR_LINK.burst)]
    assert {one.headers["location"] for one in tries} == {f"{link['path']}?pin=wrong"}
    right_but_late = anonymous.post(f"{link['path']}/pin", data={"pin": PIN})
    assert right_but_late.headers["location"] == f"{link['path']}?pin=wait"
    assert "set-cookie" not in right_but_late.headers
    assert "Wait ten minutes" in anonymous.get(f"{link['path']}?pin=wait").text
    assert anonymous.post(f"{other['path']}/pin", data={"pin": PIN}).headers["location"] == other["path"]
    now.advance(seconds=WRONG_FOR_LINK.seconds_each)
    assert anonymous.post(f"{link['path']}/pin", data={"pin": PIN}).headers["location"] == link["path"]


@pytest.mark.parametrize("pin", ["12345", "123456", "000000", "112211", "password", "abcdefg", "x" * 90])
def test_a_pin_that_would_be_tried_first_is_refused_and_not_repeated(
    desk: Any, house: Any, pulls: list[str], pin: str
) -> None:
    asked = {"pull_ids": pulls, "standard": "iso_1585", "pin": pin}
    answer = desk.post(f"/api/v1/tickets/{house.ticket_id}/results-links", json=asked)
    assert answer.status_code == 422, answer.text
    (problem,) = answer.json()["problems"]
    assert problem["field"] == "pin"
    assert "six" in problem["would_do"]
    assert pin not in answer.text


def test_an_odd_form_is_a_wrong_pin_and_a_long_one_is_not_read(
    desk: Any, anonymous: Any, house: Any, pulls: list[str]
) -> None:
    link = published(desk, house, pulls, pin=PIN)
    for body in (b"", b"pin", b"pin=%ff%fe", b"&" * 1500, b'{"pin": "x"}'):
        answer = anonymous.post(f"{link['path']}/pin", content=body)
        assert answer.headers["location"] == f"{link['path']}?pin=wrong", body
    assert anonymous.post(f"{link['path']}/pin", content=b"p" * 5000).status_code == 413


def test_looks_are_counted_by_the_day_and_for_live_links_only(
    desk: Any, anonymous: Any, house: Any, now: Any, pulls: list[str]
) -> None:
    link = published(desk, house, pulls)
    for _ in range(2):
        assert anonymous.post(f"{link['path']}/opened").status_code == 204
        now.advance(seconds=COUNTED_LOOKS.seconds_each)
    now.advance(days=1)
    sign_in(desk, DESK)
    assert anonymous.post(f"{link['path']}/opened").status_code == 204
    assert anonymous.post("/r/nobodys/opened").status_code == 204
    desk.delete(f"/api/v1/results-links/{link['id']}")
    assert anonymous.post(f"{link['path']}/opened").status_code == 204
    (kept,) = desk.get(f"/api/v1/tickets/{house.ticket_id}/results-links").json()["items"]
    assert (kept["opened_count"], kept["last_opened_on"]) == (3, "2026-03-11")
    days = desk.get(f"/api/v1/results-links/{link['id']}/looks").json()["items"]
    assert days == [{"day": "2026-03-11", "times": 1}, {"day": "2026-03-10", "times": 2}]


def test_a_link_that_is_opened_over_and_over_is_counted_once_in_a_while(
    desk: Any, anonymous: Any, house: Any, now: Any, pulls: list[str]
) -> None:
    link, other = published(desk, house, pulls), published(desk, house, pulls)
    for _ in range(40):
        assert anonymous.post(f"{link['path']}/opened").status_code == 204
        now.advance(seconds=30)
    assert anonymous.post(f"{other['path']}/opened").status_code == 204
    counts = {one["id"]: one["opened_count"] for one in desk.get("/api/v1/results-links").json()["items"]}
    assert counts == {link["id"]: 40 * 30 / COUNTED_LOOKS.seconds_each, other["id"]: 1}


def test_what_nobody_looked_at_is_not_counted(desk: Any, anonymous: Any, house: Any, pulls: list[str]) -> None:
    link, locked = published(desk, house, pulls), published(desk, house, pulls, pin=PIN)
    anonymous.get(link["path"])  # a program that draws a small picture runs no script
    for headers in ({"Sec-Purpose": "prefetch;prerender"}, {"User-Agent": "ChatPreviewBot/1.0"}):
        assert anonymous.post(f"{link['path']}/opened", headers=headers).status_code == 204
    assert anonymous.post(f"{locked['path']}/opened").status_code == 204, "the PIN was not given"
    listed = desk.get("/api/v1/results-links").json()["items"]
    assert [one["opened_count"] for one in listed] == [0, 0]


def test_a_link_can_be_given_more_days_and_that_is_audited(
    desk: Any, owner: Any, anonymous: Any, house: Any, now: Any, pulls: list[str]
) -> None:
    link = published(desk, house, pulls, days=1)
    now.advance(days=2)
    sign_in(desk, DESK)
    sign_in(owner, OWNER)
    assert anonymous.get(link["path"]).status_code == 404
    more = desk.patch(f"/api/v1/results-links/{link['id']}", json={"version": 1, "days": 30})
    assert more.json()["ends_at"] == (now.value + timedelta(days=30)).isoformat()
    assert more.json()["live"] is True
    assert anonymous.get(link["path"]).status_code == 200
    (entry,) = [
        one
        for one in owner.get("/api/v1/audit").json()["items"]
        if one["record"] == "results_link" and one["action"] == "change"
    ]
    assert "ends_at" in str(entry)
    stale = desk.patch(f"/api/v1/results-links/{link['id']}", json={"version": 1, "days": 60})
    assert stale.status_code == 409
    desk.delete(f"/api/v1/results-links/{link['id']}")
    over = desk.patch(f"/api/v1/results-links/{link['id']}", json={"version": 3, "days": 60})
    assert over.status_code == 409
    assert "ended this link" in over.json()["detail"]


def test_the_address_can_be_seen_again_by_the_desk_and_by_nobody_with_the_records_alone(
    desk: Any, client_for: Any, app: Any, house: Any, settings: Any, pulls: list[str]
) -> None:
    link = published(desk, house, pulls)
    again = desk.get(f"/api/v1/results-links/{link['id']}/address")
    assert again.json() == {"url": link["url"]}
    assert again.headers["cache-control"] == "no-store"
    assert client_for("read_only").get(f"/api/v1/results-links/{link['id']}/address").status_code == 403
    assert settings.link_key_path.stat().st_mode & 0o777 == 0o600
    settings.link_key_path.write_bytes(b"k" * 32)
    app.state.link_key = type(app.state.link_key)(settings.link_key_path)
    other = desk.get(f"/api/v1/results-links/{link['id']}/address")
    assert other.status_code == 409
    assert "another key" in other.json()["detail"]


def test_links_are_listed_by_state_newest_first_a_page_at_a_time(
    desk: Any, house: Any, now: Any, pulls: list[str]
) -> None:
    made = [published(desk, house, pulls, days=days) for days in (1, 30, 40, 50)]
    desk.delete(f"/api/v1/results-links/{made[1]['id']}")
    now.advance(days=2)
    sign_in(desk, DESK)
    ids = {
        state: [one["id"] for one in desk.get("/api/v1/results-links", params={"state": state}).json()["items"]]
        for state in ("live", "ended", "revoked")
    }
    assert ids == {"live": [made[3]["id"], made[2]["id"]], "ended": [made[0]["id"]], "revoked": [made[1]["id"]]}
    first = desk.get("/api/v1/results-links", params={"limit": 3}).json()
    rest = desk.get("/api/v1/results-links", params={"limit": 3, "cursor": first["next"]}).json()
    assert [one["id"] for one in (*first["items"], *rest["items"])] == [one["id"] for one in reversed(made)]
    assert desk.get("/api/v1/results-links", params={"state": "lost"}).status_code == 422
