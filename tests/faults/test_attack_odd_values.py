"""Values that fit no field, everywhere: refused in the one shape, never a fault of the service."""

import json
import logging

import pytest

from pullbook.pages.desk import is_our_page
from tests.faults.requests_that_fit import Fitting
from tests.furnishing import CELL, VEHICLE
from tests.house.sample_requests import operations, send
from tests.house.test_error_shape import check_problem

# As they stand in a JSON body: some are no JSON at all, and several readers take them all the same.
IN_A_BODY = (
    "null", "true", "-1", "0", "1.5", "-0.0", "1e308", "-1e308", "1e400", "1e-320", "NaN", "Infinity", "-Infinity",
    "9223372036854775807", "9223372036854775808", "1" + "0" * 40, "1" + "0" * 5000, "[]", "{}", "[null]", "[[[[]]]]",
    '{"__proto__":1}', '"\\ud800"', '"a\\udfffb"', '"\\u0000"', '"\\u202e"', '""', '" "', '"' + "y" * 9000 + '"',
    '"99999999999999999999999999"', '"9999-12-31T23:59:59Z"', '"0001-01-01T00:00:00+14:00"', "[1e308,NaN]",
)  # fmt: skip
IN_A_QUERY = (
    "", "%00", "a%00b", "%ff%fe", "%ed%a0%80", "%", "%E2%80%AE", "x" * 9000, "NaN", "Infinity", "-Infinity", "1e308",
    "1e999", "-1", "0", "9" * 30, "9223372036854775808", "null", "%5B%5D", "%F0%9F%98%80", "2026-02-30",
    "2026-02-30T00:00:00Z", "9999-12-31T23:59:59Z", "0001-01-01T00:00:00%2B14:00", "..%2F..%2Fetc%2Fpasswd",
    "%0d%0aSet-Cookie:%20a=b", "%27%20OR%201=1--", "%D9%A3", "%EF%BC%91",
)  # fmt: skip
# Signing in and out changes who asks; a staff member takes a second each to hash.
LEFT_OUT = {
    "POST /api/v1/session",
    "DELETE /api/v1/session",
    "POST /api/v1/staff",
    "PUT /api/v1/staff/{staff_id}/password",
    "PUT /api/v1/account/password",
    "POST /api/v1/account/second-step",
    "POST /api/v1/account/second-step/off",
}


@pytest.fixture
def engine_name(request):
    """The walk over everything takes a minute, so it is walked on one engine; the database's own limits on both."""
    return getattr(request, "param", "sqlite")


def answered_plainly(answer, where):
    assert answer.status_code < 500, f"{where}: {answer.status_code} {answer.text[:300]}"
    if answer.status_code >= 400:
        check_problem(answer, where)


def test_no_value_in_a_body_is_a_fault(app, owner, house):
    fitting, tried = Fitting(owner, house), 0
    for one in operations(app.openapi()):
        if one.body_shape is None or one.name in LEFT_OUT:
            continue
        for field, body in fitting.bodies(one):
            for value in IN_A_BODY:
                text = json.dumps(body)[:-1] + (", " if body else "") + json.dumps(field) + ": " + value + "}"
                headers = {"Content-Type": "application/json"}
                answer = owner.request(one.method, fitting.address(one), content=text.encode(), headers=headers)
                answered_plainly(answer, f"{one.name} {field}={value[:40]}")
                tried += 1
    assert tried > 3000


def test_no_value_in_an_address_is_a_fault(app, owner, house):
    fitting, tried = Fitting(owner, house), 0
    for one in operations(app.openapi()):
        if one.name in LEFT_OUT:
            continue
        for name in fitting.questions(one):
            for value in IN_A_QUERY:
                answer = send(owner, one, fitting.address(one, f"{name}={value}"), fitting.body(one))
                answered_plainly(answer, f"{one.name} {name}={value[:40]}")
                tried += 1
    assert tried > 1000


def test_a_number_beyond_64_bits_is_named_and_repeated(owner):
    body = b'{"full_name": 1' + b"0" * 40 + b"}"
    answer = owner.post("/api/v1/customers", content=body, headers={"Content-Type": "application/json"})
    assert answer.status_code == 422
    check_problem(answer, "POST /api/v1/customers")
    assert answer.json()["problems"][0] == {
        "field": "full_name",
        "value": "1" + "0" * 40,
        "would_do": "Input should be a valid string",
    }


def test_a_body_of_nothing_but_unknown_fields_is_answered_shortly(anonymous):
    body = b"{" + b",".join(b'"k%d":1' % number for number in range(20_000)) + b"}"
    answer = anonymous.post("/api/v1/session", content=body, headers={"Content-Type": "application/json"})
    assert answer.status_code == 422
    check_problem(answer, "POST /api/v1/session")
    assert len(answer.content) < 20_000
    assert "20002 in all" in answer.json()["detail"]


def test_a_field_with_an_endless_name_is_told_by_its_beginning(owner):
    answer = owner.post("/api/v1/customers", json={"full_name": "A", "x" * 100_000: 1})
    assert answer.status_code == 422
    assert len(answer.content) < 2_000


@pytest.mark.parametrize(
    ("body", "character"), [(b"\0", "0"), (b'{"full_name":"x"}//', "17"), (b'{"full_name":', "13")]
)
def test_where_a_body_stops_being_json_is_said_and_taken_for_no_field(owner, body, character):
    answer = owner.post("/api/v1/customers", content=body, headers={"Content-Type": "application/json"})
    assert answer.status_code == 422
    check_problem(answer, "POST /api/v1/customers")
    told = answer.json()["problems"][0]
    assert (told["field"], told["value"]) == ("body", None)
    assert told["would_do"].endswith(f"at its character {character}")


@pytest.mark.parametrize(
    ("body", "sent_as"),
    [
        ('{"sign_in_name": "ada", "password": "chalk-willow"}', "text/plain"),
        ('{"sign_in_name": "ada", "password": "chalk-willow"}', "application/x-www-form-urlencoded"),
        ('["chalk-willow"]', "application/json"),
        ('"chalk-willow"', "application/json"),
        ('{"sign_in_name": {"password": "chalk-willow"}, "password": ["chalk-willow"]}', "application/json"),
        ('{"sign_in_name": "ada", "password": "chalk-willow"', "application/json"),
    ],
)
def test_no_refusal_repeats_a_password(anonymous, body, sent_as):
    answer = anonymous.post("/api/v1/session", content=body, headers={"Content-Type": sent_as})
    assert answer.status_code == 422
    check_problem(answer, "POST /api/v1/session")
    assert "chalk" not in answer.text


@pytest.mark.parametrize("truth", [True, False])
def test_true_and_false_are_no_numbers(owner, house, truth):
    reading = {"cell_id": house.cell_id, "read_at": "2026-03-10T08:00:00Z", "station_pressure_kpa": 99.0}
    reading |= {"relative_humidity_pct": 40.0, "air_temperature_c": truth}
    for path, body, field in (
        ("/api/v1/weather", reading, "air_temperature_c"),
        ("/api/v1/price-items", {"name": "Hour", "unit_price_cents": truth}, "unit_price_cents"),
        ("/api/v1/vehicles", {**VEHICLE, "customer_id": house.customer_id, "mass_kg": truth}, "mass_kg"),
    ):
        before = owner.get(path).json()
        answer = owner.post(path, json=body)
        assert answer.status_code == 422, answer.text
        assert answer.json()["problems"][0] == {
            "field": field,
            "value": str(truth).lower(),
            "would_do": "a whole number would do" if field.endswith("cents") else "a number would do",
        }
        assert owner.get(path).json() == before
    car = {**VEHICLE, "customer_id": house.customer_id, "holds_own_boost": truth}
    assert owner.post("/api/v1/vehicles", json=car).json()["holds_own_boost"] is truth


def test_true_is_no_number_in_a_list_either(tuner):
    before = tuner.get("/api/v1/fuel-map-layouts").json()
    edges = {"speed_edges_rpm": [True, 2000.0, 3000.0], "load_edges": [20.0, 60.0, 100.0]}
    answer = tuner.post("/api/v1/fuel-map-layouts", json={"name": "Odd", "load_axis": "manifold_pressure_kpa", **edges})
    assert answer.status_code == 422
    assert "speed_edges_rpm" in {one["field"].split(".")[0] for one in answer.json()["problems"]}, answer.text
    assert tuner.get("/api/v1/fuel-map-layouts").json() == before


def test_what_two_parts_of_a_route_ask_for_is_missed_once(owner):
    token = owner.post("/api/v1/devices", json={"name": "Cell PC", "cell_id": new_cell(owner)}).json()["token"]
    told = {"Authorization": f"Bearer {token}"}
    answer = owner.post("/api/v1/device/pulls?file_name=a.csv", content=b"a,b", headers=told)
    assert [problem["field"] for problem in answer.json()["problems"]] == ["taken_at"]


def new_cell(client):
    return client.post("/api/v1/cells", json=CELL).json()["id"]


def test_a_standard_nobody_knows_cannot_become_the_usual_one(owner):
    shop = owner.get("/api/v1/shop").json()
    answer = owner.put("/api/v1/shop", json={**shop, "default_standard": "of_our_own"})
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["field"] == "default_standard"


@pytest.mark.parametrize("name", ["", "   ", "a\x00b", "a\nb", "\x1b[31mred"])
def test_a_name_of_the_shop_or_its_staff_is_one_line_of_text(owner, name):
    shop = owner.get("/api/v1/shop").json()
    assert owner.put("/api/v1/shop", json={**shop, "name": name}).status_code == 422
    person = {"sign_in_name": "new", "full_name": name, "role": "tuner", "password": "a long enough one"}
    assert owner.post("/api/v1/staff", json=person).status_code == 422


@pytest.mark.parametrize("origin", ["http://[", "http://[::1", "http://]", "[", "http://a]b"])
def test_an_origin_that_is_no_address_is_another_site(desk, origin):
    desk.headers.pop("Origin")
    answer = desk.delete("/api/v1/session", headers={"Origin": origin})
    assert answer.status_code == 403
    check_problem(answer, origin)


@pytest.mark.parametrize(
    "onward",
    ["//evil.example", "/\\evil.example", "/\t/evil.example", "/\n/evil.example", "/\r\\evil.example",
     "\t//evil.example", "https://evil.example", "javascript:alert(1)", "", "evil", "/a\\/evil.example", "/\u2028/x"],
)  # fmt: skip
def test_after_signing_in_nobody_is_led_to_another_site(anonymous, onward):
    page = anonymous.get("/sign-in", params={"next": onward}).text
    assert 'data-then="/"' in page
    assert "evil" not in page


def test_after_signing_in_one_is_led_back_to_where_one_was():
    for onward in ("/", "/weather", "/compare?pull_id=a&pull_id=b&standard=din_70020", "/tickets/new?x=größe"):
        assert is_our_page(onward)


def test_the_log_says_who_asked(owner, caplog):
    with caplog.at_level(logging.INFO, "pullbook.requests"):
        who = owner.get("/api/v1/session").json()["id"]
        owner.cookies.clear()
        owner.get("/api/v1/session")
    told = [record.request["staff_id"] for record in caplog.records if hasattr(record, "request")]
    assert told == [who, None]
