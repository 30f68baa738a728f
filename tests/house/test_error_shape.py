"""Every refusal, of every operation there is, has the one shape: a problem document as RFC 9457 has it."""

import pytest

from tests.house.sample_requests import UNKNOWN_ID, operations, send
from tests.house.who_may import WHO

KEYS = {"type", "title", "status", "detail", "problems", "request_id"}
# An unknown id in the path, where something else is to blame first: the sample body names records that are not there.
BLAMES_SOMETHING_ELSE: dict[str, set[int]] = {}


def check_problem(answer, where):
    """The shape itself."""
    assert answer.headers["content-type"] == "application/problem+json", where
    problem = answer.json()
    assert set(problem) >= KEYS, f"{where}: {sorted(problem)}"
    assert problem["status"] == answer.status_code, where
    assert problem["type"].startswith("urn:pullbook:"), where
    assert len(problem["detail"]) > 8, where
    for one in problem["problems"]:
        assert set(one) == {"field", "value", "would_do"}, f"{where}: {one}"
        assert one["field"], f"{where}: {one}"
        assert one["would_do"], f"{where}: {one}"


@pytest.fixture
def everywhere(owner, house):
    """The owner, and a device's token in the same hand: a client that is let through every door."""
    made = owner.post("/api/v1/devices", json={"name": "Cell PC", "cell_id": house.cell_id})
    owner.headers["Authorization"] = f"Bearer {made.json()['token']}"
    return owner


def test_nobody_signed_in_is_told_so_everywhere(app, anonymous):
    visited = 0
    for one in operations(app.openapi()):
        if WHO.get(one.name) == "open":
            continue
        answer = send(anonymous, one, one.address(), one.sample_body())
        assert answer.status_code == 401, f"{one.name}: {answer.status_code} {answer.text}"
        check_problem(answer, one.name)
        visited += 1
    assert visited >= 30


def test_an_id_that_nobody_has_is_not_found_everywhere(app, owner):
    visited = 0
    for one in operations(app.openapi()):
        if not one.names_a_record:
            continue
        answer = send(owner, one, one.address(), one.sample_body())
        accepted = BLAMES_SOMETHING_ELSE.get(one.name, {404})
        assert answer.status_code in accepted, f"{one.name}: {answer.status_code} {answer.text}"
        check_problem(answer, one.name)
        visited += 1
    assert visited >= 20


@pytest.mark.parametrize("value", ["1", "-1", "x" * 300, "%00", "0123456789abi", "..%2F..%2Fetc%2Fpasswd"])
def test_an_id_that_nobody_could_have_is_not_found_either(app, owner, value):
    for one in operations(app.openapi()):
        if one.names_a_record:
            answer = send(owner, one, one.address(value), one.sample_body())
            assert answer.status_code in {404, 405, 422}, f"{one.name} {value}: {answer.status_code} {answer.text}"
            check_problem(answer, one.name)


def test_a_field_that_nobody_knows_is_refused_everywhere(app, everywhere):
    visited = 0
    for one in operations(app.openapi()):
        if one.body_shape is None:
            continue
        answer = send(everywhere, one, one.address(), {**one.sample_body(), "no_such_field": 1})
        assert answer.status_code == 422, f"{one.name}: {answer.status_code} {answer.text}"
        check_problem(answer, one.name)
        assert "no_such_field" in {problem["field"] for problem in answer.json()["problems"]}, f"{one.name}"
        visited += 1
    assert visited >= 10


@pytest.mark.parametrize("body", [b"", b"{", b"[]", b'"words"', b"\xff\xfe", b'{"a":' * 5000])
def test_a_body_that_is_no_json_object_is_refused_everywhere(app, everywhere, body):
    for one in operations(app.openapi()):
        if one.body_shape is not None:
            headers = {"Content-Type": "application/json"}
            answer = everywhere.request(one.method, one.address(), content=body, headers=headers)
            assert answer.status_code in {400, 404, 422}, f"{one.name} {body[:9]!r}: {answer.status_code} {answer.text}"
            check_problem(answer, one.name)


def test_a_path_that_is_not_there_has_the_same_shape(anonymous):
    for method in ("get", "post", "put", "patch", "delete"):
        answer = anonymous.request(method, "/api/v1/no-such-noun")
        assert answer.status_code == 404
        check_problem(answer, method)


def test_a_method_that_is_not_answered_has_the_same_shape(owner):
    answer = owner.delete("/api/v1/shop")
    assert answer.status_code == 405
    check_problem(answer, "DELETE /api/v1/shop")


def test_a_refusal_never_repeats_a_secret(anonymous):
    secret = "correct-horse-battery-staple"
    body = {"sign_in_name": "", "password": secret * 12}
    answer = anonymous.post("/api/v1/session", json=body)
    assert answer.status_code == 422
    assert secret not in answer.text


def test_a_refusal_tells_which_request_it_was(anonymous):
    first, second = anonymous.get("/api/v1/session"), anonymous.get("/api/v1/session")
    numbers = {answer.json()["request_id"] for answer in (first, second)}
    assert len(numbers) == 2
    assert "" not in numbers


def test_the_sample_id_is_well_formed_so_that_it_proves_something():
    from pullbook.db.stored_types import id_number

    assert id_number(UNKNOWN_ID) > 0
