"""One's own account: the password, a second step by codes that change, and the sessions one has open."""

from urllib.parse import parse_qs, urlsplit

import pytest

from pullbook.shop.second_step import code_at
from tests.furnishing import DESK, OWNER

PRESENT = {"present_password": OWNER.password}

# RFC 6238, appendix B (SHA-1, eight digits; values from memory): the secret is twenty ASCII digits, here in base32.
RFC_SECRET = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"
RFC_6238 = [
    (59, "94287082"),
    (1111111109, "07081804"),
    (1111111111, "14050471"),
    (1234567890, "89005924"),
    (2000000000, "69279037"),
    (20000000000, "65353130"),
]


@pytest.mark.parametrize(("second", "code"), RFC_6238)
def test_codes_are_those_of_the_standard(second, code):
    assert code_at(RFC_SECRET, second // 30, digits=8) == code


def at_the_door(client, person, code="", password=None):
    body = {"sign_in_name": person.sign_in_name, "password": password or person.password, "code": code}
    return client.post("/api/v1/session", json=body)


def code_now(secret, now, steps=0):
    return code_at(secret, int(now.value.timestamp()) // 30 + steps)


@pytest.fixture
def secret(owner, now):
    """The owner's second step, turned on; its secret, and the spare codes."""
    begun = owner.post("/api/v1/account/second-step", json=PRESENT)
    assert begun.status_code == 201, begun.text
    told = begun.json()
    asked = parse_qs(urlsplit(told["address"]).query)
    assert (asked["secret"], asked["period"], asked["digits"]) == ([told["secret"]], ["30"], ["6"])
    turned_on = owner.put("/api/v1/account/second-step", json={"code": code_now(told["secret"], now)})
    assert turned_on.status_code == 200, turned_on.text
    now.advance(minutes=2)
    return told["secret"], turned_on.json()["spare_codes"]


def test_whoever_finds_a_session_open_cannot_lock_its_person_out(owner):
    refused = owner.post("/api/v1/account/second-step", json={"present_password": "a guess at it"})
    assert refused.status_code == 422
    assert refused.json()["problems"][0]["field"] == "present_password"
    assert owner.put("/api/v1/account/second-step", json={"code": "123456"}).status_code in (409, 422)


def test_nothing_changes_before_a_code_has_confirmed_it(owner, client_for, now):
    secret = owner.post("/api/v1/account/second-step", json=PRESENT).json()["secret"]
    assert at_the_door(client_for(), OWNER).status_code == 200
    wrong = owner.put("/api/v1/account/second-step", json={"code": "000000"})
    assert wrong.status_code == 422
    assert wrong.json()["problems"][0]["field"] == "code"
    assert owner.get("/api/v1/account").json()["second_step"] is False
    assert secret not in wrong.text


def test_the_password_alone_opens_nothing_once_it_is_on(secret, client_for, now):
    for code in ("", "000000", code_now(secret[0], now, steps=5)):
        refused = at_the_door(client_for(), OWNER, code)
        assert refused.status_code == 401
        assert refused.json()["problems"][0]["field"] == "code"
    assert at_the_door(client_for(), OWNER, code_now(secret[0], now)).status_code == 200


def test_a_wrong_password_is_not_told_apart_by_the_second_step(secret, client_for, now):
    refused = at_the_door(client_for(), OWNER, code_now(secret[0], now), password="not the password at all")
    assert refused.status_code == 401
    assert refused.json()["problems"] == []


def test_a_code_opens_the_door_once_and_a_clock_may_be_half_a_minute_off(secret, client_for, now):
    late = code_now(secret[0], now, steps=-1)
    assert at_the_door(client_for(), OWNER, late).status_code == 200
    assert at_the_door(client_for(), OWNER, late).status_code == 401
    early = code_now(secret[0], now, steps=1)
    assert at_the_door(client_for(), OWNER, f"{early[:3]} {early[3:]}").status_code == 200
    assert at_the_door(client_for(), OWNER, code_now(secret[0], now)).status_code == 401


def test_a_spare_code_is_good_once(secret, client_for):
    spare = secret[1]
    assert len(set(spare)) == 8
    assert at_the_door(client_for(), OWNER, spare[3]).status_code == 200
    assert at_the_door(client_for(), OWNER, spare[3]).status_code == 401
    assert at_the_door(client_for(), OWNER, spare[4].upper()).status_code == 200


def test_it_is_taken_off_with_the_password_alone_not_by_a_session_left_open(secret, owner, client_for):
    refused = owner.post("/api/v1/account/second-step/off", json={"present_password": "no idea"})
    assert refused.status_code == 422
    assert owner.post("/api/v1/account/second-step/off", json={"present_password": OWNER.password}).status_code == 200
    assert at_the_door(client_for(), OWNER).status_code == 200


def test_an_owner_takes_it_off_for_a_colleague_whose_telephone_is_gone(desk, owner, client_for, now):
    told = desk.post("/api/v1/account/second-step", json={"present_password": DESK.password}).json()
    desk.put("/api/v1/account/second-step", json={"code": code_now(told["secret"], now)})
    (line,) = [one for one in owner.get("/api/v1/staff").json()["items"] if one["role"] == "front_desk"]
    assert line["second_step"] is True
    assert at_the_door(client_for(), DESK).status_code == 401
    assert owner.delete(f"/api/v1/staff/{line['id']}/second-step").json()["second_step"] is False
    assert at_the_door(client_for(), DESK).status_code == 200


NEW = "a bicycle made of rain"


def test_a_new_password_ends_every_other_session(desk, client_for):
    other = client_for()
    at_the_door(other, DESK)
    changed = desk.put("/api/v1/account/password", json={"present_password": DESK.password, "password": NEW})
    assert changed.status_code == 200, changed.text
    assert desk.get("/api/v1/session").status_code == 200
    assert other.get("/api/v1/session").status_code == 401
    assert at_the_door(client_for(), DESK).status_code == 401
    assert at_the_door(client_for(), DESK, password=NEW).status_code == 200


def test_the_present_password_is_wanted_and_guessing_it_gets_slow(desk):
    answers = [
        desk.put("/api/v1/account/password", json={"present_password": f"guess {number}", "password": NEW})
        for number in range(12)
    ]
    assert answers[0].json()["problems"][0]["field"] == "present_password"
    assert [answer.status_code for answer in answers].count(429) >= 1


def test_a_session_left_open_elsewhere_can_be_ended(desk, client_for):
    other = client_for()
    at_the_door(other, DESK)
    lines = desk.get("/api/v1/account/sign-ins").json()["items"]
    assert [line["this_one"] for line in lines].count(True) == 1
    (left,) = [line for line in lines if not line["this_one"]]
    assert desk.delete(f"/api/v1/account/sign-ins/{left['id']}").status_code == 204
    assert other.get("/api/v1/session").status_code == 401
    assert desk.get("/api/v1/session").status_code == 200


def test_nobody_ends_somebody_else_s_session(desk, tuner):
    (line,) = tuner.get("/api/v1/account/sign-ins").json()["items"]
    assert desk.delete(f"/api/v1/account/sign-ins/{line['id']}").status_code == 404
    assert tuner.get("/api/v1/session").status_code == 200


def member(owner, role):
    return next(one for one in owner.get("/api/v1/staff").json()["items"] if one["role"] == role)


def test_somebody_who_leaves_is_out_at_once_and_may_come_back(owner, desk, client_for):
    line = member(owner, "front_desk")
    left = owner.patch(f"/api/v1/staff/{line['id']}", json={"version": line["version"], "works_here": False})
    assert left.status_code == 200, left.text
    assert left.json()["disabled_at"] is not None
    assert desk.get("/api/v1/session").status_code == 401
    assert at_the_door(client_for(), DESK).status_code == 401
    back = owner.patch(f"/api/v1/staff/{line['id']}", json={"version": left.json()["version"], "works_here": True})
    assert back.json()["disabled_at"] is None
    assert at_the_door(client_for(), DESK).status_code == 200


def test_the_last_owner_stays(owner):
    line = member(owner, "owner")
    for change in ({"works_here": False}, {"role": "tuner"}):
        refused = owner.patch(f"/api/v1/staff/{line['id']}", json={"version": line["version"], **change})
        assert refused.status_code == 409
        assert "only owner" in refused.json()["detail"]
    other = member(owner, "tuner")
    owner.patch(f"/api/v1/staff/{other['id']}", json={"version": other["version"], "role": "owner"})
    stepped = owner.patch(f"/api/v1/staff/{line['id']}", json={"version": line["version"], "role": "tuner"})
    assert stepped.status_code == 200
    assert owner.get("/api/v1/audit").status_code == 403


def test_two_owners_who_change_a_colleague_do_not_overwrite_each_other(owner):
    line = member(owner, "tuner")
    first = owner.patch(f"/api/v1/staff/{line['id']}", json={"version": line["version"], "full_name": "Tadeo B."})
    assert first.status_code == 200
    second = owner.patch(f"/api/v1/staff/{line['id']}", json={"version": line["version"], "role": "front_desk"})
    assert second.status_code == 409


def test_a_colleague_who_forgot_gets_a_new_password_and_is_signed_out(owner, desk, client_for):
    line = member(owner, "front_desk")
    assert owner.put(f"/api/v1/staff/{line['id']}/password", json={"password": "short"}).status_code == 422
    assert owner.put(f"/api/v1/staff/{line['id']}/password", json={"password": NEW}).status_code == 200
    assert desk.get("/api/v1/session").status_code == 401
    assert at_the_door(client_for(), DESK, password=NEW).status_code == 200


def test_somebody_who_may_only_read_sees_and_changes_nothing(client_for, house):
    reader = client_for("read_only")
    assert reader.get(f"/tickets/{house.ticket_id}").status_code == 200
    assert 'class="reading-only"' in reader.get("/").text
    refused = reader.post("/api/v1/customers", json={"full_name": "Nobody"})
    assert refused.status_code == 403
    assert "may only read" in refused.json()["detail"]


def test_the_account_page_says_how_one_comes_in(desk, secret, owner):
    assert "Set it up" in desk.get("/account").text
    assert "wanted beside the password" in owner.get("/account").text
