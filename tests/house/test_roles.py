"""Who may do what: every route and every role, one row each, and each row tried."""

import re

import pytest
from starlette.routing import Route

from tests.house.sample_requests import operations, send

ROLES = ("front_desk", "tuner", "owner")
MAY = {
    "open": {None, *ROLES},  # nobody need be signed in
    "desk": set(ROLES),
    "tuner": {"tuner", "owner"},
    "owner": {"owner"},
}
WHO = {
    "POST /api/v1/session": "open",
    "GET /api/v1/session": "desk",
    "DELETE /api/v1/session": "desk",
    "POST /api/v1/staff/first": "open",
    "POST /api/v1/staff": "owner",
    "GET /api/v1/staff": "desk",
    "GET /api/v1/shop": "desk",
    "PUT /api/v1/shop": "owner",
    "POST /api/v1/cells": "owner",
    "GET /api/v1/cells": "desk",
    "GET /api/v1/cells/{cell_id}": "desk",
    "PATCH /api/v1/cells/{cell_id}": "owner",
    "POST /api/v1/cells/{cell_id}/calibrations": "tuner",
    "GET /api/v1/cells/{cell_id}/calibrations": "desk",
    "POST /api/v1/weather": "desk",
    "GET /api/v1/weather": "desk",
    "GET /api/v1/air": "desk",
    "POST /api/v1/customers": "desk",
    "GET /api/v1/customers": "desk",
    "GET /api/v1/customers/{customer_id}": "desk",
    "PATCH /api/v1/customers/{customer_id}": "desk",
    "POST /api/v1/vehicles": "desk",
    "GET /api/v1/vehicles": "desk",
    "GET /api/v1/vehicles/{vehicle_id}": "desk",
    "PATCH /api/v1/vehicles/{vehicle_id}": "desk",
    "POST /api/v1/tickets": "desk",
    "GET /api/v1/tickets": "desk",
    "GET /api/v1/tickets/{ticket_id}": "desk",
    "PATCH /api/v1/tickets/{ticket_id}": "desk",
    "POST /api/v1/tickets/{ticket_id}/steps": "desk",
    "POST /api/v1/tickets/{ticket_id}/setups": "tuner",
    "GET /api/v1/tickets/{ticket_id}/setups": "desk",
    "PATCH /api/v1/setups/{setup_id}": "tuner",
    "POST /api/v1/tickets/{ticket_id}/pulls": "tuner",
    "GET /api/v1/tickets/{ticket_id}/pulls": "desk",
    "GET /api/v1/pulls/{pull_id}": "desk",
    "GET /api/v1/pulls/{pull_id}/raw": "desk",
    "GET /api/v1/pulls/{pull_id}/curve": "desk",
    "GET /api/v1/pulls/{pull_id}/columns": "desk",
    "PUT /api/v1/pulls/{pull_id}/channel-map": "tuner",
    "POST /api/v1/pulls/{pull_id}/set-aside": "tuner",
    "DELETE /api/v1/pulls/{pull_id}/set-aside": "tuner",
    "POST /api/v1/channel-maps": "tuner",
    "GET /api/v1/channel-maps": "desk",
    "GET /api/v1/comparisons": "desk",
    "POST /api/v1/tickets/{ticket_id}/results-links": "desk",
    "GET /api/v1/tickets/{ticket_id}/results-links": "desk",
    "DELETE /api/v1/results-links/{link_id}": "desk",
}
# Pages that show something before anybody has signed in.
OPEN_PAGES = {"/sign-in", "/first", "/r/{token}", "/healthz", "/readyz", "/api/v1/openapi.json"}


def test_every_route_has_its_row_and_every_row_its_route(app):
    routes = {one.name for one in operations(app.openapi())}
    assert routes - set(WHO) == set(), "routes without a row"
    assert set(WHO) - routes == set(), "rows without a route"


@pytest.mark.parametrize("role", [None, *ROLES])
def test_each_role_may_do_what_its_row_says_and_no_more(app, client_for, owner, role):
    for one in operations(app.openapi()):
        client = client_for(role)
        answer = send(client, one, one.address(), one.sample_body())
        if role in MAY[WHO[one.name]]:
            refused = {403} if WHO[one.name] == "open" else {401, 403}
            assert answer.status_code not in refused, f"{one.name} as {role}: {answer.status_code} {answer.text}"
        else:
            expected = 401 if role is None else 403
            assert answer.status_code == expected, f"{one.name} as {role}: {answer.status_code} {answer.text}"


def test_each_page_sends_strangers_to_the_sign_in_page(app, anonymous):
    pages = [route.path for route in app.routes if isinstance(route, Route) and "GET" in (route.methods or ())]
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
