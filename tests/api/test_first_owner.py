"""The one-time set-up link: there is no default account, and nobody comes in that way twice."""

import pytest

from pullbook.db.connect import connect
from pullbook.errors import Clash
from pullbook.shop.signing_in import invite_first_owner


@pytest.fixture
def token(settings, now):
    records = connect(settings.database_url)
    with records.writing() as session:
        made = invite_first_owner(session, now.value)
    records.close()
    return made


def body(token, **changes):
    return {
        "token": token,
        "sign_in_name": "Ilse",
        "full_name": "Ilse Amsler",
        "password": "eleven warm tyres",
        "shop_name": "Amsler & Daughters",
        "time_zone": "Europe/Zurich",
        **changes,
    }


def test_it_makes_the_owner_and_the_shop_and_signs_in(anonymous, token):
    answer = anonymous.post("/api/v1/staff/first", json=body(token))
    assert answer.status_code == 201, answer.text
    assert answer.json()["role"] == "owner"
    assert anonymous.get("/api/v1/session").json()["sign_in_name"] == "ilse"
    shop = anonymous.get("/api/v1/shop").json()
    assert (shop["name"], shop["time_zone"]) == ("Amsler & Daughters", "Europe/Zurich")


def test_an_empty_shop_lets_nobody_in_without_it(anonymous):
    assert anonymous.post("/api/v1/staff/first", json=body("made up")).status_code == 404
    for name in ("admin", "root", "pullbook", "owner"):
        answer = anonymous.post("/api/v1/session", json={"sign_in_name": name, "password": name})
        assert answer.status_code == 401


def test_it_works_once(anonymous, token):
    assert anonymous.post("/api/v1/staff/first", json=body(token)).status_code == 201
    again = anonymous.post("/api/v1/staff/first", json=body(token, sign_in_name="second"))
    assert again.status_code == 410


def test_it_ends_after_half_an_hour(anonymous, token, now):
    now.advance(minutes=31)
    assert anonymous.post("/api/v1/staff/first", json=body(token)).status_code == 410


def test_a_password_that_will_not_do_leaves_the_link_unused(anonymous, token):
    refused = anonymous.post("/api/v1/staff/first", json=body(token, password="password123"))
    assert refused.status_code == 422
    assert refused.json()["problems"][0]["field"] == "password"
    assert "password123" not in refused.text
    assert anonymous.post("/api/v1/staff/first", json=body(token)).status_code == 201


def test_no_link_is_made_once_somebody_works_here(owner, settings, now):
    records = connect(settings.database_url)
    with records.writing() as session, pytest.raises(Clash):
        invite_first_owner(session, now.value)
    records.close()


@pytest.mark.parametrize("zone", ["Mars/Olympus", "", "../../etc/passwd", "europe/zurich "])
def test_a_time_zone_that_is_none_is_refused(anonymous, token, zone):
    answer = anonymous.post("/api/v1/staff/first", json=body(token, time_zone=zone))
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["field"] == "time_zone"
