"""Coming in: the set-up link, the password, the session, and what must not come in."""

import pytest

from tests.furnishing import OWNER


def sign_in(client, name, password, **headers):
    return client.post("/api/v1/session", json={"sign_in_name": name, "password": password}, headers=headers)


def test_it_signs_in_and_says_who_it_is(owner, client_for):
    client = client_for()
    answer = sign_in(client, OWNER.sign_in_name, OWNER.password)
    assert answer.status_code == 200
    assert answer.json()["role"] == "owner"
    assert client.get("/api/v1/session").json() == answer.json()
