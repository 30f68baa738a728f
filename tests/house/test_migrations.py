"""The schema: migrations and tables say the same, and what is evidence cannot be changed by any statement."""

import os
import subprocess
import sys
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta

import pytest
import sqlalchemy as sa

from pullbook.db.chain import ChainEntry, ChainKey, SignedHead
from pullbook.db.connect import connect
from pullbook.db.evidence import GUARDED, AuditEntry, ColumnBlock, Pull, RawFile, ResultsLink
from pullbook.db.found_triggers import is_described
from pullbook.db.joined import CalibrationBasis, CalibrationEvidence, JoinedFile
from pullbook.db.leaving import Erasure
from pullbook.db.migrating import migration_engine
from pullbook.db.senders import Device, TrayFile
from pullbook.db.tables import Calibration, ChannelMap, SafetySigning, Staff, Table, Ticket
from tests.house.source_files import HOUSE

SHA = "ab" * 32


@contextmanager
def opened(url, make=sa.create_engine):
    """A connection without the service's settings on it; what is changed is kept."""
    engine = make(sa.make_url(url))
    try:
        with engine.connect() as connection:
            yield connection
            connection.commit()
    finally:
        engine.dispose()


def test_tables_and_migrations_say_the_same(settings):
    done = subprocess.run(
        [sys.executable, "-m", "alembic", "check"],
        cwd=HOUSE,
        env={**os.environ, "PULLBOOK_DATABASE_URL": settings.database_url},
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "No new upgrade operations detected" in done.stdout + done.stderr


def test_a_check_constraint_that_is_missing_would_be_seen(settings, engine_name):
    if engine_name == "postgresql":
        change = "ALTER TABLE customer DROP CONSTRAINT ck_customer_full_name_length"
        with opened(settings.database_url) as connection:
            names = [one["name"] for one in sa.inspect(connection).get_check_constraints("customer")]
            connection.execute(sa.text(change.replace("ck_customer_full_name_length", names[0])))
    else:
        with opened(settings.database_url, make=migration_engine) as connection:
            written = "SELECT sql FROM sqlite_master WHERE name = 'customer'"
            sql = connection.exec_driver_sql(written).scalar_one()
            names = [one["name"] for one in sa.inspect(connection).get_check_constraints("customer")]
            assert names
            start = sql.index(f"CONSTRAINT {names[0]}")
            end = _end_of_check(sql, start)
            less = sql[:start].rstrip().rstrip(",") + sql[end:]
            connection.exec_driver_sql("DROP TABLE customer")
            connection.exec_driver_sql(less)
    environment = {**os.environ, "PULLBOOK_DATABASE_URL": settings.database_url}
    command = [sys.executable, "-m", "alembic", "check"]
    done = subprocess.run(command, cwd=HOUSE, env=environment, capture_output=True, text=True)
    assert done.returncode != 0, done.stdout + done.stderr
    assert names[0] in done.stdout + done.stderr


def _end_of_check(sql, start):
    """Where the parenthesis of a CHECK closes."""
    depth, at = 0, sql.index("(", start)
    while True:
        depth += {"(": 1, ")": -1}.get(sql[at], 0)
        at += 1
        if depth == 0:
            return at


def test_every_table_is_strict_on_sqlite(settings, engine_name):
    with opened(settings.database_url) as connection:
        if engine_name == "sqlite":
            rows = connection.exec_driver_sql("PRAGMA table_list").all()
            loose = {row.name for row in rows if row.schema == "main" and not row.strict and is_described(row.name)}
            assert loose - {"sqlite_schema", "sqlite_stat1", "alembic_version"} == set()
        there = {name for name in sa.inspect(connection).get_table_names() if is_described(name)}
        assert there == {*Table.metadata.tables, "alembic_version"}


@pytest.fixture
def filed(app, owner, house, settings):
    """A row in every guarded table: those that the furnished house lacks are added as the service would."""
    records = connect(settings.database_url)
    at = datetime(2026, 3, 10, 9, 0, tzinfo=UTC)
    with records.writing() as session:
        staff = session.execute(sa.select(Staff.id).limit(1)).scalar_one()
        session.add(RawFile(sha256=SHA, size_bytes=5, zstd=b"12345", received_at=at))
        session.add(ChannelMap(name="Mine", columns=[], made_at=at, made_by=staff))
        session.flush()
        block = {"reader": "delimited 1", "headers": [], "found": {}, "row_count": 1, "block": b"x"}
        session.add(ColumnBlock(sha256=SHA, **block))
        where = {"ticket_id": house.ticket_id, "setup_id": house.setup_id, "cell_id": house.cell_id}
        told = {"kind": "sweep", "taken_at": at, "received_at": at, "file_name": "a.csv", "operator_id": staff}
        pull = Pull(sha256=SHA, state="readable", **where, **told)
        session.add(pull)
        session.add(_link(house, staff, at))
        session.flush()
        _add_what_stands_beside(session, pull, staff, at)
        _add_to_the_chain(session, at)
    records.close()
    return records.url


def _add_what_stands_beside(session, pull, staff, at):
    made = {"made_at": at, "made_by": staff}
    customer = session.execute(sa.select(Ticket.customer_id).limit(1)).scalar_one()
    session.add(Erasure(customer_id=customer, erased_at=at, erased_by=staff, reason="asked"))
    second = {"sha256": SHA, "file_name": "log.csv", "received_at": at, "made_by": staff}
    session.add(JoinedFile(pull_id=pull.id, state="readable", **second))
    evidence = CalibrationEvidence(cell_id=pull.cell_id, kind="brake_weights", taken_at=at, details={}, **made)
    session.add(evidence)
    session.flush()
    calibration = session.scalars(sa.select(Calibration.id)).first()
    session.add(CalibrationBasis(calibration_id=calibration, evidence_id=evidence.id))
    device = Device(name="Cell PC", cell_id=pull.cell_id, token_hash="c" * 64, **made)
    session.add(device)
    session.flush()
    signed = {"ticket_id": pull.ticket_id, "cell_id": pull.cell_id, "points": [], "device_at": at}
    session.add(SafetySigning(**signed, signed_at=at, received_at=at, signed_by=staff))
    sent = {"sha256": SHA, "file_name": "a.csv", "kind": "sweep", "taken_at": at, "received_at": at}
    session.add(TrayFile(cell_id=pull.cell_id, device_id=device.id, clock_ahead_s=1.5, **sent))


def _add_to_the_chain(session, at):
    session.add(ChainKey(id="0123abcd", public_key="e" * 64, made_at=at))
    session.flush()
    session.add(SignedHead(day="2020-03-10", entries=0, head=SHA, signed_at=at, key_id="0123abcd", signature="x"))
    entry = ChainEntry(number=9000, kind="made", record_id="x", at=at, entered_at=at, row_digest=SHA)
    entry.previous, entry.head = "c" * 64, "d" * 64
    session.add(entry)


def _link(house, staff, at):
    made = {"made_at": at, "made_by": staff, "ends_at": at + timedelta(days=90)}
    shown = {"pull_ids": [], "standard": "iso_1585", "window_s": 0.5, "digest": SHA, "published": {}}
    return ResultsLink(ticket_id=house.ticket_id, token_hash="b" * 64, **shown, **made)


@pytest.fixture
def bare_connection(filed):
    """A connection without any of the service's settings, as a person with a database tool has it."""
    with opened(filed) as connection:
        yield connection


def _refused(connection, statement):
    with pytest.raises(sa.exc.DBAPIError, match="is kept as it was written"):
        connection.execute(sa.text(statement))
    connection.rollback()


def _column_names(table):
    columns = Table.metadata.tables[table].columns
    return GUARDED[table] or tuple(column.name for column in columns)


def _other_value(table, name):
    """An expression for a value that differs and is of the column's own type."""
    kind = Table.metadata.tables[table].columns[name].type
    if isinstance(kind, sa.LargeBinary):
        return "CAST('changed' AS BLOB)"
    python = getattr(kind, "python_type", None) if not isinstance(kind, sa.types.TypeDecorator) else None
    numeric = python in (int, float) or type(kind).__name__ in ("OpaqueId", "Flag")
    return f"COALESCE({name}, 0) + 1" if numeric else f"COALESCE({name}, '') || 'x'"


@pytest.mark.parametrize("table", GUARDED)
def test_no_update_gets_through_to_evidence(bare_connection, engine_name, table):
    assert bare_connection.execute(sa.text(f"SELECT count(*) FROM {table}")).scalar_one() >= 1
    bare_connection.rollback()
    for name in _column_names(table):
        value = _other_value(table, name)
        kind = type(Table.metadata.tables[table].columns[name].type).__name__
        if engine_name == "postgresql":
            value = "now()" if kind == "UtcTime" else value.replace("CAST('changed' AS BLOB)", "'\\x00'::bytea")
        _refused(bare_connection, f"UPDATE {table} SET {name} = {value}")


@pytest.mark.parametrize("table", GUARDED)
def test_no_delete_gets_through_to_evidence(bare_connection, engine_name, table):
    _refused(bare_connection, f"DELETE FROM {table}")
    if engine_name == "postgresql":
        _refused(bare_connection, f"TRUNCATE {table} CASCADE")


@pytest.mark.parametrize("table", GUARDED)
def test_no_replacing_gets_through_to_evidence(bare_connection, engine_name, table):
    columns = [column.name for column in Table.metadata.tables[table].columns]
    listed, keys = ", ".join(columns), ", ".join(column.name for column in Table.metadata.tables[table].primary_key)
    if engine_name == "sqlite":
        _refused(bare_connection, f"INSERT OR REPLACE INTO {table} ({listed}) SELECT {listed} FROM {table}")
        _refused(bare_connection, f"REPLACE INTO {table} ({listed}) SELECT {listed} FROM {table}")
        return
    name = _column_names(table)[-1]
    other = f"ON CONFLICT ({keys}) DO UPDATE SET {name} = {_other_for_upsert(table, name)}"
    _refused(bare_connection, f"INSERT INTO {table} AS old ({listed}) SELECT {listed} FROM {table} {other}")


def _other_for_upsert(table, name):
    kind = Table.metadata.tables[table].columns[name].type
    if isinstance(kind, sa.LargeBinary):
        return "'\\x00'::bytea"
    return "now()" if type(kind).__name__ == "UtcTime" else _other_value(table, f"{name}").replace(name, f"old.{name}")


def test_how_a_pull_is_read_may_still_change(bare_connection):
    bare_connection.execute(sa.text("UPDATE pull SET notes = 'slipped', version = version + 1"))
    assert bare_connection.execute(sa.text("SELECT notes FROM pull")).scalar_one() == "slipped"


def test_the_audit_trail_was_written_by_what_people_did(filed, bare_connection):
    numbers = bare_connection.execute(sa.select(AuditEntry.number).order_by(AuditEntry.number)).scalars().all()
    assert numbers == list(range(1, len(numbers) + 1))
    assert len(numbers) >= 8
