"""Two people at once on PostgreSQL: whoever comes second waits for the first, and neither is refused for the other."""

import time
from concurrent.futures import ThreadPoolExecutor

import psycopg
import pytest
from sqlalchemy import select

from pullbook.db.evidence import Pull
from pullbook.db.tables import Customer, Setup, Vehicle
from tests.api.pull_files import Steady, where

PATIENCE_S = 20.0  # until the second waits, or has come through


@pytest.fixture
def engine_name():
    """SQLite has one writer at a time."""
    return "postgresql"


@pytest.fixture
def second_comes(app, postgres, database):
    """Change something first, let somebody else begin, then commit; the answer that the other gets."""

    def run(first, second):
        with ThreadPoolExecutor(1) as thread:
            with app.state.database.writing() as session:
                first(session)
                session.flush()
                answer = thread.submit(second)
                _until_it_waits(postgres.address(database.name), answer)
            return answer.result(timeout=60)

    return run


def _until_it_waits(address, answer):
    waiting = "SELECT count(*) FROM pg_stat_activity WHERE wait_event_type = 'Lock' AND datname = current_database()"
    until = time.monotonic() + PATIENCE_S
    with psycopg.connect(address, autocommit=True) as looking:
        while time.monotonic() < until and not answer.done():
            if looking.execute(waiting).fetchone()[0]:
                return
            time.sleep(0.02)


@pytest.fixture
def pull_id(tuner, house):
    """A pull on the ticket, whose figures nobody has read yet."""
    text = Steady().csv()
    headers = {"Content-Type": "text/csv"}
    path = f"/api/v1/tickets/{house.ticket_id}/pulls"
    return tuner.post(path, params=where(house), content=text, headers=headers).json()["id"]


def _patch(client, path, **changes):
    return client.patch(path, json={"version": client.get(path).json()["version"], **changes})


@pytest.mark.parametrize(
    ("table", "field"), [(Vehicle, "plate"), (Customer, "notes"), (Setup, "changed")], ids=["car", "customer", "setup"]
)
def test_a_ticket_and_what_it_is_found_by_change_at_once(second_comes, desk, house, table, field):
    ids = {Vehicle: house.vehicle_id, Customer: house.customer_id, Setup: house.setup_id}

    def first(session):
        setattr(session.get(table, ids[table], with_for_update=True), field, "New words")

    path = f"/api/v1/tickets/{house.ticket_id}"
    answer = second_comes(first, lambda: _patch(desk, path, notes="Ring before noon"))
    assert answer.status_code == 200, answer.text
    found = desk.get("/api/v1/archive", params={"find": "noon"})
    assert found.status_code == 200
    assert desk.get(path).json()["notes"] == "Ring before noon"


def test_a_pull_moves_while_its_car_changes(second_comes, tuner, house, pull_id):
    def first(session):
        session.get(Pull, pull_id, with_for_update=True).setup_id = house.second_setup_id

    path = f"/api/v1/vehicles/{house.vehicle_id}"
    answer = second_comes(first, lambda: _patch(tuner, path, model="Stilt 2.2"))
    assert answer.status_code == 200, answer.text
    assert tuner.get(f"/api/v1/pulls/{pull_id}").json()["setup_id"] == house.second_setup_id
    items = tuner.get("/api/v1/archive", params={"model": "Stilt 2.2"}).json()["items"]
    assert [one["pull_id"] if "pull_id" in one else one["id"] for one in items] == [pull_id]


def test_a_car_changes_while_a_pull_is_set_aside(second_comes, app, tuner, house, pull_id):
    def first(session):
        car = session.get(Vehicle, house.vehicle_id, with_for_update=True)
        car.model = "Stilt 2.2"

    path = f"/api/v1/pulls/{pull_id}/set-aside"
    answer = second_comes(first, lambda: tuner.post(path, json={"reason": "Wheel slip"}))
    assert answer.status_code == 201, answer.text
    with app.state.database.reading() as session:
        assert session.scalar(select(Vehicle.model).where(Vehicle.id == house.vehicle_id)) == "Stilt 2.2"
