"""Publishing results: a link once told, what it shows, when it ends, and what changed since."""

import hashlib
import re
from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import select

from pullbook.db.evidence import ResultsLink
from pullbook.errors import NotFound
from pullbook.shop.opening import open_link
from tests.api.pull_files import UNCLEAR, Steady, filed, send_pull
from tests.furnishing import CALIBRATION, START, WEATHER


@pytest.fixture
def pulls(tuner: Any, house: Any) -> list[str]:
    made = []
    for setup_id, gain in ((house.setup_id, 8.0), (house.second_setup_id, 8.8)):
        made.append(filed(tuner, house, Steady(gain_rad_s2=gain).csv(), setup_id=setup_id)["id"])
    return made


def _published(client: Any, house: Any, pulls: list[str], **changes: Any) -> dict[str, Any]:
    asked = {"pull_ids": pulls, "standard": "iso_1585", "note": "Well worth it", **changes}
    answer = client.post(f"/api/v1/tickets/{house.ticket_id}/results-links", json=asked)
    assert answer.status_code == 201, answer.text
    return answer.json()


def _token(link: dict[str, Any]) -> str:
    return link["url"].rpartition("/r/")[2]


def _opened(app: Any, link: dict[str, Any], at: Any) -> Any:
    with app.state.database.reading() as session:
        return open_link(session, _token(link), at)


def test_of_the_address_only_a_hash_is_kept(desk: Any, house: Any, app: Any, pulls: list[str]) -> None:
    link = _published(desk, house, pulls)
    assert re.fullmatch(r"http://pulls\.example\.test/r/[\w-]{43}", link["url"])
    assert link["live"] is True
    listed = desk.get(f"/api/v1/tickets/{house.ticket_id}/results-links").json()["items"]
    assert listed == [{name: value for name, value in link.items() if name != "url"}]
    with app.state.database.reading() as session:
        kept = dict(session.execute(select(ResultsLink.__table__)).mappings().one())
    assert _token(link) not in str(kept)
    assert kept["token_hash"] == hashlib.sha256(_token(link).encode()).hexdigest()


def test_it_shows_what_was_published(desk: Any, tuner: Any, house: Any, app: Any, now: Any, pulls: list[str]) -> None:
    shown = _opened(app, _published(desk, house, pulls), now.value)
    assert shown.shop_name == "Quarrystone Motor Works"
    assert shown.ticket.customer_name == "Ilse Marchetti-Vonn"
    assert [pull.facts.id for pull in shown.comparison.pulls] == pulls
    assert shown.changes == ()
    curve = tuner.get(f"/api/v1/pulls/{pulls[0]}/curve").json()
    peak = shown.comparison.pulls[0].curve.headline.peak_power_w
    assert round(peak.value, 1) == curve["headline"]["peak_power_w"]["value"]


def test_it_lasts_as_long_as_asked_and_by_default_as_the_settings_say(desk: Any, house: Any, pulls: list[str]) -> None:
    week = _published(desk, house, pulls, days=7)
    usual = _published(desk, house, pulls)
    assert week["ends_at"] == (START + timedelta(days=7)).isoformat()
    assert usual["ends_at"] == (START + timedelta(days=90)).isoformat()


def test_an_unknown_a_revoked_and_an_ended_link_all_say_the_same(
    desk: Any, house: Any, app: Any, now: Any, pulls: list[str]
) -> None:
    revoked, ended = _published(desk, house, pulls), _published(desk, house, pulls, days=1)
    assert desk.delete(f"/api/v1/results-links/{revoked['id']}").json()["live"] is False
    for link, at in (
        (revoked, now.value),
        (ended, now.value + timedelta(days=1)),
        ({"url": "/r/" + "x" * 43}, now.value),
    ):
        with pytest.raises(NotFound, match="Ask the shop"):
            _opened(app, link, at)


def test_corrected_weather_is_told_as_was_is_now_and_why(
    desk: Any, house: Any, app: Any, now: Any, pulls: list[str]
) -> None:
    link = _published(desk, house, pulls)
    corrected = {**WEATHER, "air_temperature_c": 27.0, "cell_id": house.cell_id, "supersedes_id": house.weather_id}
    assert desk.post("/api/v1/weather", json=corrected).status_code == 201
    changes = _opened(app, link, now.value).changes
    assert len(changes) == 8  # power and torque of two setups, and of the one pull of each
    assert changes[0].what == "Baseline: peak power"
    assert changes[4].what == "Baseline, pull of 2026-03-10 08:50 UTC: peak power"
    assert changes[0].was != changes[0].now
    assert "weather" in changes[0].why


def test_a_new_calibration_is_told(owner: Any, house: Any, app: Any, now: Any, pulls: list[str]) -> None:
    link = _published(owner, house, pulls[:1])
    newer = {**CALIBRATION, "inertia_kg_m2": 4.4, "valid_from": "2026-02-01T08:00:00+01:00"}
    owner.post(f"/api/v1/cells/{house.cell_id}/calibrations", json=newer)
    changes = _opened(app, link, now.value).changes
    assert len(changes) == 4  # of the setup, and of its one pull
    assert "calibration" in changes[0].why


def test_a_pull_set_aside_since_is_told(tuner: Any, house: Any, app: Any, now: Any, pulls: list[str]) -> None:
    link = _published(tuner, house, pulls)
    tuner.post(f"/api/v1/pulls/{pulls[1]}/set-aside", json={"reason": "Wheel slip"})
    changes = _opened(app, link, now.value).changes
    assert [(one.was, one.now) for one in changes if one.pull_id] == [("counts", "is set aside")]
    assert {one.now for one in changes if one.setup_id} == {"no curve", "not judged"}


def test_what_cannot_be_shown_is_not_published(desk: Any, tuner: Any, house: Any, pulls: list[str]) -> None:
    waiting = send_pull(tuner, house, UNCLEAR.csv()).json()["id"]
    asked = {"customer_id": house.customer_id, "vehicle_id": house.vehicle_id, "asked": "again"}
    other = tuner.post("/api/v1/tickets", json=asked).json()["id"]
    for ticket_id, ids, field in (
        (house.ticket_id, [waiting], "pull_ids"),
        (other, pulls, "pull_ids"),
        (house.ticket_id, [], "pull_ids"),
    ):
        told = {"pull_ids": ids, "standard": "iso_1585"}
        answer = desk.post(f"/api/v1/tickets/{ticket_id}/results-links", json=told)
        assert answer.status_code == 422, answer.text
        assert answer.json()["problems"][0]["field"] == field
    wrong = desk.post(
        f"/api/v1/tickets/{house.ticket_id}/results-links", json={"pull_ids": pulls, "standard": "made_up"}
    )
    assert wrong.json()["problems"][0]["field"] == "standard"
