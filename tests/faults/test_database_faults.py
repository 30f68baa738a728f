"""When the database cannot: nothing is acknowledged that is not on disk, and the answer says what to do."""

import os
import signal
import subprocess
import sys
import textwrap

import pytest
import sqlalchemy as sa
from fastapi import APIRouter
from sqlalchemy import event

from pullbook.db.connect import connect
from pullbook.db.evidence import AuditEntry
from pullbook.deps import ReadSession, WriteSession
from pullbook.shop.auditing import first_broken_entry
from tests.furnishing import CUSTOMER

only_sqlite = pytest.mark.parametrize("engine_name", ["sqlite"], indirect=True)
only_postgresql = pytest.mark.parametrize("engine_name", ["postgresql"], indirect=True)


@pytest.fixture
def fill_disk(app):
    """Let the file grow by no page more: SQLite then fails as it does on a full disk."""
    engine = app.state.database.writer

    def limit(connection, *_):
        pages = connection.execute("PRAGMA page_count").fetchone()[0]
        connection.execute(f"PRAGMA max_page_count={pages}")

    event.listen(engine, "checkout", limit)
    yield
    event.remove(engine, "checkout", limit)


@only_sqlite
def test_a_full_disk_is_said_and_nothing_is_half_kept(owner, house, fill_disk, settings):
    statuses = []
    for count in range(60):
        answer = owner.post("/api/v1/customers", json={**CUSTOMER, "notes": f"{count} " * 2000})
        statuses.append(answer.status_code)
        if answer.status_code != 201:
            break
    assert statuses[-1] == 507, statuses
    assert answer.json()["type"] == "urn:pullbook:disk-full"
    assert "nothing was kept" in answer.json()["detail"]
    kept = owner.get("/api/v1/customers?limit=500")
    assert kept.status_code == 200, "what is there can still be read"
    assert len(kept.json()["items"]) == statuses.count(201) + 1
    records = connect(settings.database_url)
    with records.reading() as session:
        assert session.execute(sa.text("PRAGMA integrity_check")).scalar_one() == "ok"
    records.close()


HOLD = """
import sys
from pullbook.db.connect import connect
records = connect(sys.argv[1])
with records.writing() as session:
    session.connection()
    print("held", flush=True)
    sys.stdin.readline()
"""


@only_sqlite
def test_a_database_that_somebody_else_holds_is_waited_for_and_then_said(owner, house, settings):
    command = [sys.executable, "-c", HOLD, settings.database_url]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as other:
        assert other.stdout.readline() == "held\n"
        answer = owner.post("/api/v1/customers", json=CUSTOMER)
        assert answer.status_code == 503
        assert int(answer.headers["retry-after"]) > 0
        assert owner.get("/api/v1/customers").status_code == 200, "readers do not wait for a writer"
        assert owner.get("/healthz").status_code == 200
        other.communicate("go on\n")
    assert owner.post("/api/v1/customers", json=CUSTOMER).status_code == 201


@only_postgresql
def test_connections_that_the_server_cut_are_replaced(owner, house, app):
    assert owner.get("/api/v1/customers").status_code == 200
    engine = sa.create_engine(app.state.database.url, poolclass=sa.NullPool)
    cut = "SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity WHERE pid <> pg_backend_pid() AND datname = "
    with engine.connect() as connection:
        assert connection.exec_driver_sql(f"{cut} current_database()").scalar_one() >= 1
    assert owner.get("/api/v1/customers").status_code == 200
    assert owner.post("/api/v1/customers", json=CUSTOMER).status_code == 201


@pytest.fixture
def strange(app):
    """Routes that go wrong in ways the shop's own never should."""
    router = APIRouter()

    @router.post("/api/v1/strange/late", status_code=201)
    def fails_only_at_commit(session: WriteSession):
        if session.get_bind().dialect.name == "sqlite":
            session.execute(sa.text("PRAGMA defer_foreign_keys=ON"))
            session.execute(sa.text("UPDATE vehicle SET customer_id = 1"))
        else:
            for statement in (
                "CREATE FUNCTION say_no() RETURNS trigger LANGUAGE plpgsql AS "
                "$$BEGIN RAISE EXCEPTION 'too late' USING ERRCODE = 'foreign_key_violation'; END$$",
                "CREATE CONSTRAINT TRIGGER late AFTER UPDATE ON vehicle DEFERRABLE INITIALLY DEFERRED "
                "FOR EACH ROW EXECUTE FUNCTION say_no()",
                "UPDATE vehicle SET notes = 'changed'",
            ):
                session.execute(sa.text(statement))
        return {"kept": True}

    @router.post("/api/v1/strange/mistake")
    def makes_a_mistake(session: WriteSession):
        session.execute(sa.text("UPDATE customer SET notes = 'half done'"))
        raise ZeroDivisionError("the inside of the machine")

    @router.get("/api/v1/strange/writes")
    def writes_where_it_may_only_read(session: ReadSession):
        session.execute(sa.text("UPDATE customer SET notes = 'by a page'"))
        session.commit()

    app.router.routes[:0] = router.routes
    return app


def test_a_commit_that_fails_is_never_answered_with_success(owner, house, strange):
    answer = owner.post("/api/v1/strange/late")
    assert answer.status_code == 409
    assert owner.get(f"/api/v1/vehicles/{house.vehicle_id}").json()["customer_id"] == house.customer_id


def test_a_mistake_is_undone_and_tells_nothing_of_the_inside(owner, house, strange):
    answer = owner.post("/api/v1/strange/mistake")
    assert answer.status_code == 500
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.json()["request_id"] == answer.headers["x-request-id"]
    assert "inside" not in answer.text
    assert "Zero" not in answer.text
    assert owner.get(f"/api/v1/customers/{house.customer_id}").json()["notes"] != "half done"


def test_a_page_can_write_nothing_even_if_it_tries(owner, house, strange):
    assert owner.get("/api/v1/strange/writes").status_code in (500, 503)
    assert owner.get(f"/api/v1/customers/{house.customer_id}").json()["notes"] != "by a page"


@pytest.mark.parametrize("after", [1, 7, 20])
def test_what_was_acknowledged_before_a_kill_is_there_afterwards_and_whole(settings, after):
    script = textwrap.dedent("""
        import sys
        from datetime import UTC, datetime
        from pullbook.db.connect import connect
        from pullbook.db.tables import Customer
        from pullbook.shop.auditing import note
        records = connect(sys.argv[1])
        for count in range(10000):
            with records.writing() as session:
                session.add(Customer(full_name=f"Customer {count}", found_by="", made_at=datetime.now(UTC)))
                note(session, datetime.now(UTC), None, "added", "customer", str(count))
            print(count, flush=True)
    """)
    command = [sys.executable, "-c", script, settings.database_url]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as writer:
        acknowledged = [writer.stdout.readline() for _ in range(after)]
        os.kill(writer.pid, signal.SIGKILL)
        acknowledged += writer.stdout.readlines()
    count = len([line for line in acknowledged if line.endswith("\n")])
    records = connect(settings.database_url)
    with records.reading() as session:
        customers = session.execute(sa.text("SELECT count(*) FROM customer")).scalar_one()
        entries = session.execute(sa.select(sa.func.count()).select_from(AuditEntry)).scalar_one()
        assert customers == entries, "a customer and its entry are kept together or not at all"
        assert count <= customers <= count + 1
        assert first_broken_entry(session) is None
    records.close()
