"""Values that fit no question of a page: told in words on a page, never a fault of the service."""

import re
from typing import Any

import pytest
from fastapi.routing import APIRoute

from tests.faults.requests_that_fit import Fitting
from tests.faults.test_attack_odd_values import IN_A_QUERY
from tests.house.sample_requests import flat

VALUES = tuple(value for value in IN_A_QUERY if not value.startswith(("%D9", "%EF", "%27", "%5B", "-1", "x", "null")))
NEEDED = {"/compare": "pull_id", "/compare.csv": "pull_id", "/fuel-map": "setup_id", "/fuel-map.csv": "setup_id"}


@pytest.fixture
def engine_name() -> str:
    """The walk is over what is typed, not over what is stored: one engine is enough."""
    return "sqlite"


def pages(app: Any) -> list[Any]:
    return [
        route
        for route in flat(app.routes)
        if isinstance(route, APIRoute) and "GET" in route.methods and not route.path.startswith("/api/")
    ]


def questions(dependant: Any) -> set[str]:
    """What a page may be asked, by itself and by all that it depends on."""
    own = {field.alias for field in dependant.query_params}
    return own.union(*(questions(one) for one in dependant.dependencies))


def test_no_value_in_a_pages_address_is_a_fault(app: Any, owner: Any, house: Any) -> None:
    fitting, tried = Fitting(owner, house), 0
    link = owner.get("/api/v1/results-links").json()["items"][0]["id"]
    token = owner.get(f"/api/v1/results-links/{link}/address").json()["url"].rpartition("/")[2]
    ids = {**fitting.ids, "link_id": link, "token": token, "car_id": fitting.ids.get("reference_car_id", "none")}
    for route in pages(app):
        path = re.sub(r"{(\w+)(?::\w+)?}", lambda found: ids.get(found[1], "none"), route.path)
        wanted = f"{NEEDED[route.path]}={ids[NEEDED[route.path]]}&" if route.path in NEEDED else ""
        for name in sorted(questions(route.dependant)):
            for value in VALUES:
                answer = owner.get(f"{path}?{wanted}{name}={value}")
                assert answer.status_code < 500, f"{path}?{wanted}{name}={value}: {answer.status_code}"
                assert "set-cookie" not in answer.headers or "a=b" not in answer.headers["set-cookie"]
                tried += 1
    assert tried > 500
