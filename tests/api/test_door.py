"""What stands around every route: whose page sent it, which host it names, how large it is, what the answer forbids."""

import gzip
import json
import logging
import secrets

import brotli
import pytest

from pullbook.request_log import JsonLines, mask
from tests.conftest import PUBLIC_URL
from tests.furnishing import OWNER


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"Sec-Fetch-Site": "same-origin"}, 204),
        ({"Sec-Fetch-Site": "none"}, 204),
        ({"Sec-Fetch-Site": "cross-site"}, 403),
        ({"Sec-Fetch-Site": "same-site"}, 403),  # a neighbouring sub-domain is somebody else
        ({"Sec-Fetch-Site": "cross-site", "Origin": PUBLIC_URL}, 403),
        ({"Origin": PUBLIC_URL}, 204),  # browsers without Sec-Fetch-Site
        ({"Origin": "http://evil.example"}, 403),
        ({"Origin": "http://pulls.example.test.evil.example"}, 403),
        ({"Origin": "null"}, 403),
        ({}, 204),  # every browser names an origin on such a request: this is a program with a cookie of its own
    ],
)
def test_nothing_is_changed_on_the_word_of_another_site(desk, headers, status):
    desk.headers.pop("Origin")
    assert desk.delete("/api/v1/session", headers=headers).status_code == status
    assert desk.get("/api/v1/session").status_code == (401 if status == 204 else 200)


def test_another_site_cannot_sign_somebody_in_either(owner, client_for):
    client = client_for()
    answer = client.post("/api/v1/session", json=OWNER.sign_in, headers={"Origin": "http://evil.example"})
    assert answer.status_code == 403
    assert not client.cookies


def test_a_program_needs_no_origin(owner, client_for):
    client = client_for()
    client.headers.pop("Origin")
    assert client.post("/api/v1/session", json=OWNER.sign_in).status_code == 200


def test_reading_needs_no_origin(desk):
    assert desk.get("/api/v1/session", headers={"Sec-Fetch-Site": "cross-site"}).status_code == 200


@pytest.mark.parametrize(
    "host",
    ["evil.example", "", "pulls.example.test.evil.example", "127.0.0.1", "a b", "[::1",
     "pulls.example.test:80.evil.example", "pulls.example.test:80, evil.example", "pulls.example.test:x"],
)  # fmt: skip
def test_another_host_name_is_not_answered_to(anonymous, host):
    for path in ("/api/v1/session", "/sign-in", "/r/sometoken"):
        answer = anonymous.get(path, headers={"Host": host})
        assert answer.status_code == 400
        assert "evil" not in answer.text


def test_two_host_names_are_one_too_many(anonymous):
    # RFC 9112, section 3.2: a request with more than one Host line is answered with 400
    both = [("Host", "pulls.example.test"), ("Host", "evil.example")]
    assert anonymous.get("/sign-in", headers=both).status_code == 400


def test_a_forged_forwarding_header_changes_nothing(anonymous):
    forged = {"X-Forwarded-Host": "evil.example", "X-Forwarded-Proto": "https", "Forwarded": "host=evil.example"}
    answer = anonymous.get("/sign-in", headers=forged)
    assert answer.status_code == 200
    assert "evil.example" not in answer.text


def test_health_is_answered_on_loopback_names_too(anonymous):
    assert anonymous.get("/healthz", headers={"Host": "127.0.0.1:8420"}).text == "alive\n"
    assert anonymous.get("/readyz", headers={"Host": "localhost"}).json()["ready"] is True


def test_a_body_that_says_it_is_large_is_refused_unread(anonymous):
    def never():
        raise AssertionError("the body was read")
        yield b""

    headers = {"Content-Length": "200000000", "Content-Type": "application/json"}
    answer = anonymous.post("/api/v1/session", content=never(), headers=headers)
    assert answer.status_code == 413
    assert answer.headers["connection"] == "close"


def test_a_body_that_does_not_say_its_size_is_refused_where_it_gets_too_large(anonymous):
    taken = []

    def parts():
        for count in range(100):
            taken.append(count)
            yield b" " * 100_000

    answer = anonymous.post("/api/v1/session", content=parts(), headers={"Content-Type": "application/json"})
    assert answer.status_code == 413
    assert answer.json()["type"] == "urn:pullbook:too-large"


def test_only_the_upload_takes_more_than_a_megabyte(tuner, house):
    size = 2_000_000
    assert tuner.post("/api/v1/customers", content=b" " * size).status_code == 413
    upload = f"/api/v1/tickets/{house.ticket_id}/pulls"
    assert tuner.post(upload, content=b" " * size).status_code != 413
    headers = {"Content-Length": str(64 * 1024 * 1024 + 1)}
    assert tuner.post(upload, content=b"", headers=headers).status_code == 413


@pytest.mark.parametrize("path", ["/api/v1/session", "/sign-in", "/no-such-page", "/healthz", "/static/none.css"])
def test_every_answer_tells_the_browser_what_to_refuse(anonymous, path):
    headers = anonymous.get(path).headers
    policy = dict(part.split(" ", 1) for part in headers["content-security-policy"].split("; "))
    assert policy["default-src"] == "'self'"
    assert policy["frame-ancestors"] == policy["object-src"] == policy["base-uri"] == "'none'"
    assert "unsafe" not in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "no-referrer"
    assert headers["cache-control"]
    assert "strict-transport-security" not in headers, "the public address is not https here"


def test_a_results_page_asks_not_to_be_found(anonymous):
    assert "noindex" in anonymous.get("/r/sometoken").headers["x-robots-tag"]


def test_a_long_json_answer_is_compressed_as_the_client_likes(owner):
    plain = owner.get("/api/v1/air?air_temperature_c=20&station_pressure_kpa=99&relative_humidity_pct=50",
                      headers={"Accept-Encoding": "identity"})  # fmt: skip
    assert len(plain.content) > 1000
    for asked, encoding, unpack in (
        ("br, gzip", "br", brotli.decompress),
        ("gzip", "gzip", gzip.decompress),
        ("br;q=0, gzip", "gzip", gzip.decompress),
    ):
        with owner.stream("GET", str(plain.request.url), headers={"Accept-Encoding": asked}) as answer:
            raw = b"".join(answer.iter_raw())
        assert answer.headers["content-encoding"] == encoding
        assert int(answer.headers["content-length"]) == len(raw) < len(plain.content)
        assert "Accept-Encoding" in answer.headers["vary"]
        assert json.loads(unpack(raw)) == plain.json()


def test_each_answer_and_its_line_of_log_carry_the_same_number(anonymous, caplog):
    with caplog.at_level(logging.INFO, "pullbook.requests"):
        answer = anonymous.get("/r/averysecrettoken?unit=kW")
    lines = [json.loads(JsonLines().format(record)) for record in caplog.records]
    line = next(line for line in lines if line["log"] == "pullbook.requests")
    assert line["request_id"] == answer.headers["x-request-id"]
    assert line["status"] == answer.status_code
    assert "averysecrettoken" not in json.dumps(lines)


@pytest.mark.parametrize(
    "path", ["/r/SECRET", "/x/r/SECRET/chart.svg", "/set-up/SECRET", "/r/SECRET?a=1", "/api/v1/x?a=1&token=SECRET"]
)
def test_tokens_are_masked_wherever_they_stand(path):
    assert "SECRET" not in mask(path)
    assert mask(path).startswith(path.split("SECRET")[0])


@pytest.mark.parametrize("path", ["/R/{}", "/r//{}", "//r/{}", "/r.{}", "/results/{}", "/{}", "/x?to=http://a.test/{}"])
def test_a_token_at_a_mistyped_address_is_masked_too(path):
    token = secrets.token_urlsafe(32)
    told = mask("GET " + path.format(token))
    assert token[1:-1] not in told
    assert told.startswith("GET " + path.split("{}")[0])


def test_what_is_no_token_is_logged_as_it_is():
    for text in (
        "/r/logo", "/r/static/27ffe8e3dfc6/js/results/opened.js",
        "/api/v1/pulls/6h17zh0echnrf/joined-files/6h17zy2bbw220",
        "/static/5b86753ee4e2d5800e7af4e7bf0ced1798015b372afdfc79f327a754bc2fd9e8/chart.js",
        "in a_function_whose_name_goes_on_and_on_for_longer_than_a_token_1",
    ):  # fmt: skip
        assert mask(text) == ("/r/…" if text == "/r/logo" else text)


def test_what_was_typed_cannot_forge_a_line_of_log():
    record = logging.LogRecord("x", logging.INFO, "", 0, 'a\n{"level":"error"}', (), None)
    assert "\n" not in JsonLines().format(record)
    assert json.loads(JsonLines().format(record))["text"] == 'a\n{"level":"error"}'


@pytest.mark.parametrize(
    "path", ["/healthz", "/sign-in", "/r/nobody-made-this-link", "/api/v1/cells", "/static/icon.svg"]
)
def test_what_can_be_read_answers_to_head_with_the_same_headers_and_no_body(desk, path):
    whole, head = desk.get(path), desk.head(path)
    assert head.status_code == whole.status_code
    assert head.content == b""
    for name in ("content-type", "cache-control", "x-robots-tag"):
        assert head.headers.get(name) == whole.headers.get(name)


@pytest.mark.parametrize("sign", ["\u202e", "\u2066", "\u202a"])
def test_a_name_cannot_turn_the_direction_of_writing(desk, sign):
    answer = desk.post("/api/v1/customers", json={"full_name": f"Ada {sign}Lind"})
    assert answer.status_code == 422
    assert f"U+{ord(sign):04X}" in answer.text
    assert desk.post("/api/v1/customers", json={"full_name": "עדה Lind"}).status_code == 201
