"""The service under a path of somebody's domain, over TLS, behind a proxy that keeps the path or strips it."""

import re

import pytest
from starlette.testclient import TestClient

from pullbook.app import create_app
from tests.conftest import settings_for
from tests.furnishing import OWNER

PUBLIC = "https://garage.example.test/rolling/pulls"


@pytest.fixture
def browser(owner, database, tmp_path, now):
    app = create_app(settings_for(database.url, tmp_path, public_url=PUBLIC))
    app.state.clock = now
    headers = {"Sec-Fetch-Site": "same-origin"}
    with TestClient(app, base_url="https://garage.example.test", headers=headers, follow_redirects=False) as client:
        yield client


@pytest.mark.parametrize("prefix", ["/rolling/pulls", ""])
def test_it_answers_whether_the_proxy_keeps_the_path_or_strips_it(browser, prefix):
    answer = browser.post(f"{prefix}/api/v1/session", json=OWNER.sign_in)
    assert answer.status_code == 200, answer.text
    browser.headers["Cookie"] = answer.headers["set-cookie"].partition(";")[0]  # the proxy's path is not the browser's
    assert browser.get(f"{prefix}/api/v1/session").json()["role"] == "owner"
    assert browser.get(f"{prefix}/healthz").status_code == 200
    board = browser.get(f"{prefix}/")
    assert board.status_code == 200
    asset = browser.app.state.asset("css/tokens.css")
    assert asset.startswith("/rolling/pulls/static/")
    assert browser.get(asset.removeprefix("/rolling/pulls") if not prefix else asset).status_code == 200


def test_every_address_on_a_page_stays_under_the_path(browser):
    browser.post("/rolling/pulls/api/v1/session", json=OWNER.sign_in)
    for path in ("/rolling/pulls/", "/rolling/pulls/sign-in"):
        page = browser.get(path).text
        addresses = re.findall(r'(?:href|src|action)="(/[^"]*)"', page)
        assert addresses
        assert [one for one in addresses if not one.startswith("/rolling/pulls")] == []


def test_the_cookie_is_for_tls_and_for_that_path_alone(browser):
    answer = browser.post("/rolling/pulls/api/v1/session", json=OWNER.sign_in)
    cookie = answer.headers["set-cookie"]
    words = {word.strip().lower() for word in cookie.split(";")}
    assert cookie.startswith("__Secure-pullbook=")
    assert {"secure", "httponly", "samesite=lax", "path=/rolling/pulls"} <= words


def test_at_the_root_the_cookie_is_bound_to_the_host(owner, database, tmp_path, now):
    app = create_app(settings_for(database.url, tmp_path, public_url="https://garage.example.test"))
    app.state.clock = now
    with TestClient(app, base_url="https://garage.example.test", headers={"Sec-Fetch-Site": "none"}) as client:
        answer = client.post("/api/v1/session", json=OWNER.sign_in)
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith("__Host-pullbook=")
    assert "path=/;" in cookie.lower() + ";"
    assert "domain" not in cookie.lower()
    assert answer.headers["strict-transport-security"] == "max-age=31536000"


def test_a_stranger_is_led_to_the_sign_in_page_and_back(browser):
    answer = browser.get("/rolling/pulls/weather?cell_id=1")
    assert answer.status_code == 303
    assert answer.headers["location"] == "/rolling/pulls/sign-in?next=/weather%3Fcell_id%3D1"


def test_a_neighbour_whose_path_only_begins_alike_is_not_ours(browser):
    assert browser.get("/rolling/pullsandmore/healthz").status_code == 404
