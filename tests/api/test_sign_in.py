"""Signing in and out: the password, the session and its cookie, and how guessing gets slow."""

import sys

import pytest
import sqlalchemy as sa
from argon2 import PasswordHasher

from pullbook.db.connect import connect
from pullbook.db.tables import SignIn, Staff
from pullbook.errors import ShopError
from pullbook.shop import signing_in
from tests.furnishing import DESK, OWNER, TUNER


def sign_in(client, person, password=None):
    body = {"sign_in_name": person.sign_in_name, "password": password or person.password}
    return client.post("/api/v1/session", json=body)


def cookies_set(answer):
    return answer.headers.get_list("set-cookie")


def test_it_signs_in_and_says_who_it_is(owner, client_for):
    client = client_for()
    answer = sign_in(client, OWNER)
    assert answer.status_code == 200
    assert answer.json() | {"id": ""} == {
        "id": "",
        "sign_in_name": OWNER.sign_in_name,
        "full_name": OWNER.full_name,
        "role": "owner",
    }
    assert client.get("/api/v1/session").json() == answer.json()


def test_the_name_is_taken_in_any_case_and_with_spaces_around_it(owner, client_for):
    body = {"sign_in_name": f"  {OWNER.sign_in_name.upper()} ", "password": OWNER.password}
    assert client_for().post("/api/v1/session", json=body).status_code == 200


def test_a_wrong_password_and_an_unknown_name_get_the_same_answer(owner, client_for):
    wrong = client_for().post("/api/v1/session", json={"sign_in_name": "mira", "password": "not that one"})
    unknown = client_for().post("/api/v1/session", json={"sign_in_name": "nobody", "password": "not that one"})
    assert wrong.status_code == unknown.status_code == 401
    assert wrong.json() | {"request_id": ""} == unknown.json() | {"request_id": ""}
    assert not cookies_set(wrong)


def checks_made(work):
    """How often a password was really hashed to be compared, and against which kind of hash."""
    against = []

    def look(frame, event, _):
        if event == "call" and frame.f_code is PasswordHasher.verify.__code__:
            against.append(str(frame.f_locals["hash"]).rsplit("$", 2)[0])

    sys.setprofile(look)
    try:
        work()
    finally:
        sys.setprofile(None)
    return against


def test_a_wrong_password_and_an_unknown_name_cost_the_same_work(owner, settings):
    records = connect(settings.database_url)

    def refused(name):
        with records.writing() as session, pytest.raises(ShopError):
            signing_in.find_by_password(session, name, "not that one")

    known, unknown = checks_made(lambda: refused(OWNER.sign_in_name)), checks_made(lambda: refused("nobody-here"))
    records.close()
    assert len(known) == 1
    assert known == unknown


def test_the_cookie_is_out_of_reach_of_scripts_and_other_sites(owner, client_for):
    (cookie,) = cookies_set(sign_in(client_for(), OWNER))
    words = {word.strip().lower() for word in cookie.split(";")}
    assert {"httponly", "samesite=lax", "path=/"} <= words
    assert not any(word.startswith("domain") for word in words)


def test_only_a_hash_of_the_cookie_is_kept(owner, client_for, settings):
    client = client_for()
    sign_in(client, OWNER)
    token = client.cookies["pullbook"]
    assert len(token) >= 43
    records = connect(settings.database_url)
    with records.reading() as session:
        kept = session.execute(sa.select(SignIn.token_hash)).scalars().all()
        hashes = session.execute(sa.select(Staff.password_hash)).scalars().all()
    records.close()
    assert kept
    assert all(token not in one for one in kept)
    assert all(one.startswith("$argon2id$v=19$m=19456,t=2,p=1$") for one in hashes)


def test_each_sign_in_has_a_new_session_and_ends_the_one_it_came_with(owner, client_for):
    client = client_for()
    sign_in(client, OWNER)
    first = client.cookies["pullbook"]
    sign_in(client, OWNER)
    assert client.cookies["pullbook"] != first
    stale = client_for()
    stale.cookies.set("pullbook", first)
    assert stale.get("/api/v1/session").status_code == 401


def test_a_session_that_somebody_else_planted_is_not_taken_over(owner, client_for):
    client = client_for()
    client.cookies.set("pullbook", "planted" * 6)
    answer = sign_in(client, OWNER)
    assert answer.status_code == 200
    assert "planted" not in cookies_set(answer)[0]


def test_signing_out_ends_the_session_on_every_machine_that_holds_it(tuner, client_for):
    copy = client_for("tuner")
    assert tuner.delete("/api/v1/session").status_code == 204
    assert copy.get("/api/v1/session").status_code == 401


def test_a_session_ends_after_a_long_working_day(desk, now):
    now.advance(hours=11, minutes=59)
    assert desk.get("/api/v1/session").status_code == 200
    now.advance(minutes=2)
    assert desk.get("/api/v1/session").status_code == 401


def test_who_has_left_is_out_at_once(desk, client_for, settings, now):
    records = connect(settings.database_url)
    with records.writing() as session:
        leaving = sa.update(Staff).where(Staff.sign_in_name == DESK.sign_in_name)
        session.execute(leaving.values(disabled_at=now.value))
    records.close()
    assert desk.get("/api/v1/session").status_code == 401
    assert sign_in(client_for(), DESK).status_code == 401


def test_guessing_gets_slow_and_locks_nobody_out(owner, client_for, now):
    client = client_for()
    answers = [sign_in(client, TUNER, f"guess number {count}") for count in range(12)]
    assert [one.status_code for one in answers[:10]] == [401] * 10
    assert answers[-1].status_code == 429
    assert sign_in(client, TUNER).status_code == 429, "even the right one waits, or the limit would tell it apart"
    assert sign_in(client, DESK).status_code == 200, "others from the same place come in"
    now.advance(seconds=int(answers[-1].headers["retry-after"]))
    assert sign_in(client, TUNER).status_code == 200


def test_the_right_password_wipes_the_slate_of_that_name(owner, client_for, now):
    client = client_for()
    for _ in range(3):
        for count in range(8):
            assert sign_in(client, TUNER, f"guess number {count}").status_code == 401
        assert sign_in(client, TUNER).status_code == 200
        now.advance(seconds=30)  # the address has its own count


def test_trying_many_names_from_one_place_gets_slow_too(owner, client_for, now):
    client = client_for()
    now.advance(hours=1)  # what was tried before is forgotten
    statuses = [
        client.post("/api/v1/session", json={"sign_in_name": f"name-{count}", "password": "one for all"}).status_code
        for count in range(33)
    ]
    assert statuses[:30] == [401] * 30
    assert statuses[-1] == 429


def test_a_try_counts_even_though_it_fails(owner, client_for, settings):
    sign_in(client_for(), OWNER, "wrong one here")
    records = connect(settings.database_url)
    with records.reading() as session:
        remaining = session.execute(sa.text("SELECT remaining FROM tries")).scalars().all()
    records.close()
    assert sorted(remaining)[0] < 10
