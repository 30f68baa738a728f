"""Routes that are worked out late are all sound, and worked out once, by whoever comes first."""

from concurrent.futures import ThreadPoolExecutor

import pytest
from fastapi import FastAPI
from fastapi.exceptions import FastAPIError
from fastapi.routing import APIRoute
from fastapi.testclient import TestClient

from pullbook.late_routes import LateRoute, LateRouter, complete_all


class Unheard:
    """No kind of value that a request could hold."""


@pytest.fixture
def things():
    """An application with one late route."""
    router = LateRouter("/things", tags=["things"])

    @router.get("/{thing_id}")
    def one(thing_id: int) -> dict[str, int]:
        """One thing."""
        return {"thing_id": thing_id}

    app = FastAPI()
    app.router.routes.extend(router.routes)
    return app


def test_every_route_of_the_service_can_be_worked_out(app):
    complete_all(app.routes)
    late = [route for route in app.routes if isinstance(route, LateRoute)]
    assert len(late) > 200
    for route in late:
        assert route.dependant.call is route.endpoint, route.path
        for field in route.fields():
            assert field._type_adapter.pydantic_complete, f"{route.path}: {field.name} is not built"


def test_every_route_of_the_service_is_late(app):
    assert [route.path for route in app.routes if isinstance(route, APIRoute) and type(route) is not LateRoute] == []


def test_a_route_is_worked_out_when_it_is_first_asked_for(things):
    route = things.routes[-1]
    assert "dependant" not in vars(route)
    client = TestClient(things)
    assert client.get("/things").status_code == 404
    assert client.post("/things/7").status_code == 405
    assert "dependant" not in vars(route)
    assert client.get("/things/7").json() == {"thing_id": 7}
    assert "dependant" in vars(route)
    assert client.get("/things/seven").status_code == 422


def test_the_description_tells_of_routes_that_nobody_asked_for(things):
    told = things.openapi()["paths"]["/things/{thing_id}"]["get"]
    assert told["tags"] == ["things"]
    assert [one["schema"]["type"] for one in told["parameters"]] == ["integer"]


def test_several_threads_at_once_find_one_and_the_same(things):
    route = things.routes[-1]
    with ThreadPoolExecutor(8) as pool:
        found = [waited.result() for waited in [pool.submit(lambda: route.app) for _ in range(64)]]
    assert {id(each) for each in found} == {id(route.app)}


def test_a_route_that_cannot_be_worked_out_says_why_each_time():
    router = LateRouter("/things")

    @router.get("/{thing}")
    def one(thing: Unheard) -> None:
        """Never answered."""

    for _ in range(2):
        with pytest.raises(FastAPIError, match="Unheard"):
            router.routes[0].complete()


def test_what_a_route_does_not_have_it_does_not_make_up(things):
    with pytest.raises(AttributeError, match="no such_thing"):
        _ = things.routes[-1].such_thing
