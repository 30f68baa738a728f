"""An application whose API is loaded late answers as one that has it at once."""

from concurrent.futures import ThreadPoolExecutor

import pytest
from fastapi.testclient import TestClient

from pullbook.app import create_app
from pullbook.late_api import LateApi
from pullbook.warming import warm

ASKED = [
    ("GET", "/api/v1/session"),
    ("GET", "/api/v1/cells"),
    ("GET", "/api/v1/nothing-of-this-name"),
    ("PUT", "/api/v1/session"),
    ("HEAD", "/api/v1/session"),
    ("POST", "/api/v1/session"),
    ("GET", "/api/v1/openapi.json"),
    ("GET", "/api/v1"),
    ("GET", "/api/v2/session"),
    ("GET", "/sign-in"),
    ("GET", "/readyz"),
]


@pytest.fixture
def late(settings, database):
    """Nothing of its API is there yet."""
    app = create_app(settings, warm_up=True)
    yield app
    app.state.database.close()


def _waits(app):
    return any(isinstance(route, LateApi) for route in app.routes)


def _client(app, settings):
    return TestClient(app, base_url=settings.public_url, raise_server_exceptions=False)


def _told(answer):
    body = answer.text
    if body and "problem" in answer.headers.get("content-type", ""):
        body = {name: value for name, value in answer.json().items() if name != "request_id"}
    return answer.status_code, answer.headers.get("content-type"), answer.headers.get("allow"), body


@pytest.mark.parametrize(("method", "path"), ASKED)
def test_the_first_request_of_all_is_answered_as_by_one_that_has_it_at_once(app, late, settings, method, path):
    told = {"headers": {"Origin": settings.public_url}, "follow_redirects": False}
    theirs = _client(app, settings).request(method, path, **told)
    ours = _client(late, settings).request(method, path, **told)
    if path == "/readyz":
        assert ours.status_code == theirs.status_code == 200  # the room on the disk may change in between
    elif path == "/sign-in":
        assert ours.status_code == theirs.status_code == 200
    else:
        assert _told(ours) == _told(theirs)


def test_routes_stand_in_the_same_order(app, late):
    assert _waits(late)
    late.state.late_api.load()
    assert [route.path for route in late.routes] == [route.path for route in app.routes]


@pytest.mark.parametrize(("path", "waits"), [("/healthz", True), ("/sign-in", True), ("/readyz", False)])
def test_a_page_does_not_need_it_and_being_ready_does(late, settings, path, waits):
    assert _client(late, settings).get(path).status_code == 200
    assert _waits(late) is waits


def test_what_loads_behind_the_first_answers_puts_it_in_place(late):
    warm(late)
    assert not _waits(late)


def test_several_first_requests_at_once_are_all_answered(late, settings):
    with ThreadPoolExecutor(8) as pool:
        found = list(pool.map(lambda _: _client(late, settings).get("/api/v1/session").status_code, range(24)))
    assert set(found) == {401}
    assert len([route for route in late.routes if getattr(route, "path", "") == "/api/v1/audit"]) == 1
