"""Who may do what: every route and every role, one row each, and each row tried."""

import re

import pytest
from starlette.routing import Route

from tests.house.sample_requests import flat, operations, send
from tests.house.who_may import MAY, OPEN_PAGES, ROLES, WHO


def test_every_route_has_its_row_and_every_row_its_route(app):
    routes = {one.name for one in operations(app.openapi())}
    assert routes - set(WHO) == set(), "routes without a row"
    assert set(WHO) - routes == set(), "rows without a route"


def client_as(role, client_for, owner, house):
    """Somebody signed in, nobody, or a device with its token."""
    if role != "device":
        return client_for(role)
    made = owner.post("/api/v1/devices", json={"name": "Cell PC", "cell_id": house.cell_id})
    client = client_for()
    client.headers["Authorization"] = f"Bearer {made.json()['token']}"
    return client


@pytest.mark.parametrize("role", [None, *ROLES, "device"])
def test_each_role_may_do_what_its_row_says_and_no_more(app, client_for, owner, house, role):
    client = client_as(role, client_for, owner, house)
    # signing out comes last: it ends the session that all the others use
    for one in sorted(operations(app.openapi()), key=lambda one: one.name == "DELETE /api/v1/session"):
        answer = send(client, one, one.address(), one.sample_body())
        if role in MAY[WHO[one.name]] or (role == "device" and WHO[one.name] == "open"):
            refused = {403} if WHO[one.name] == "open" else {401, 403}
            assert answer.status_code not in refused, f"{one.name} as {role}: {answer.status_code} {answer.text}"
        else:
            expected = 401 if role in (None, "device") or WHO[one.name] == "device" else 403
            assert answer.status_code == expected, f"{one.name} as {role}: {answer.status_code} {answer.text}"


def test_each_page_sends_strangers_to_the_sign_in_page(app, anonymous):
    pages = [route.path for route in flat(app.routes) if isinstance(route, Route) and "GET" in (route.methods or ())]
    pages = [path for path in pages if not path.startswith(("/api/", "/static")) and path not in OPEN_PAGES]
    assert len(pages) >= 5
    for path in pages:
        answer = anonymous.get(re.sub(r"\{[^}]*\}", "0123456789abc", path))
        assert answer.status_code == 303, f"{path}: {answer.status_code}"
        assert "/sign-in?next=" in answer.headers["location"], path


@pytest.mark.parametrize("origin", ["https://elsewhere.test", "null", "http://pulls.example.test.elsewhere.test"])
def test_no_change_is_taken_from_another_site(app, client_for, owner, origin):
    for one in operations(app.openapi()):
        if one.method == "get" or WHO[one.name] == "open":
            continue
        client = client_for("owner")
        client.headers["Origin"] = origin
        answer = send(client, one, one.address(), one.sample_body())
        assert answer.status_code == 403, f"{one.name} from {origin}: {answer.status_code} {answer.text}"
