"""Who works here, and what the shop is called: added by the owner, seen by everybody who is signed in."""

import pytest

NEW = {
    "sign_in_name": "odalys",
    "full_name": "Odalys Ferrant",
    "role": "tuner",
    "password": "three bolts and a washer",
}


def test_the_owner_adds_somebody_who_then_signs_in(owner, client_for):
    added = owner.post("/api/v1/staff", json=NEW)
    assert added.status_code == 201
    credentials = {"sign_in_name": "odalys", "password": NEW["password"]}
    assert client_for().post("/api/v1/session", json=credentials).json() == added.json()


def test_everybody_is_listed_and_no_secret_with_them(desk):
    answer = desk.get("/api/v1/staff")
    assert {one["role"] for one in answer.json()["items"]} == {"owner", "tuner", "front_desk", "read_only"}
    assert "argon2" not in answer.text


def test_a_name_that_is_taken_clashes_in_any_case(owner):
    answer = owner.post("/api/v1/staff", json={**NEW, "sign_in_name": "MIRA"})
    assert answer.status_code == 409
    assert answer.json()["problems"][0]["field"] == "sign_in_name"


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("role", "admin"),
        ("role", None),
        ("sign_in_name", ""),
        ("sign_in_name", "two words"),
        ("sign_in_name", "x" * 121),
        ("password", "short"),
        ("password", "x" * 257),
        ("password", "odalysodalys"),
        ("full_name", ""),
    ],
)
def test_what_will_not_do_is_named(owner, field, value):
    answer = owner.post("/api/v1/staff", json={**NEW, field: value})
    assert answer.status_code == 422
    assert [one["field"] for one in answer.json()["problems"]] == [field]


@pytest.mark.parametrize("extra", [{"id": "0123456789abc"}, {"password_hash": "x"}, {"created_at": "2026-01-01"}])
def test_nothing_can_be_slipped_in_beside_the_fields(owner, extra):
    assert owner.post("/api/v1/staff", json={**NEW, **extra}).status_code == 422


def test_the_shop_changes_by_the_version_that_was_read(owner, desk):
    shop = owner.get("/api/v1/shop").json()
    changed = owner.put("/api/v1/shop", json={**shop, "power_unit": "PS"})
    assert changed.status_code == 200
    assert changed.json() == {**shop, "power_unit": "PS", "version": shop["version"] + 1}
    stale = owner.put("/api/v1/shop", json={**shop, "power_unit": "hp"})
    assert stale.status_code == 409
    assert stale.json()["on_record"]["power_unit"] == "PS"
    assert stale.json()["given"]["power_unit"] == "hp"
    assert desk.get("/api/v1/shop").json()["power_unit"] == "PS"
