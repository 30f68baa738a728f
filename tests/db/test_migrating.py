"""Bringing a database to the newest schema: whole or not at all, one process at a time, with a copy first."""

import os
import shutil
import subprocess
import sys
import textwrap
from datetime import UTC, datetime

import pytest
import sqlalchemy as sa
from alembic import command
from alembic.config import Config

from pullbook.db.connect import connect, make_engine, read_address
from pullbook.db.evidence import Pull, RawFile
from pullbook.db.migrating import MigrationError, migrate
from pullbook.db.schema_state import known_revisions, schema_state
from pullbook.db.stored_types import id_number, new_id
from pullbook.db.tables import Cell, Customer, Setup, Staff, Ticket, Vehicle
from pullbook.settings import MIGRATIONS

FIRST = known_revisions(MIGRATIONS)[0]
NEXT = '''
"""A step that a test adds."""
import os
import sqlalchemy as sa
from alembic import op
revision = "2099_01_01_next"
down_revision = "{down}"
def upgrade() -> None:
{body}
'''


def step(folder, body, down=None):
    """A migrations folder of this version's and one step more."""
    target = folder / "migrations"
    if not target.exists():
        shutil.copytree(MIGRATIONS, target, ignore=shutil.ignore_patterns("__pycache__"))
    told = NEXT.format(down=down or known_revisions(MIGRATIONS)[-1], body=textwrap.indent(body, "    "))
    (target / "versions" / "2099_01_01_next.py").write_text(told)
    return target


def ask(url, statement):
    engine = make_engine(read_address(url), writing=False)
    with engine.connect() as connection:
        rows = connection.execute(sa.text(statement)).all()
    engine.dispose()
    return rows


@pytest.fixture
def url(owner, house, settings):
    """A shop with records in it."""
    return settings.database_url


def columns_of(url, table):
    engine = make_engine(read_address(url), writing=False)
    names = {one["name"] for one in sa.inspect(engine).get_columns(table)}
    engine.dispose()
    return names


def start(url, folder):
    script = "import sys; from pathlib import Path; from pullbook.db.migrating import migrate; "
    script += "print(migrate(sys.argv[1], Path(sys.argv[2])))"
    command = [sys.executable, "-c", script, url, str(folder)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


KILLED = """
op.add_column("customer", sa.Column("half", sa.Text()))
op.create_table("half_way", sa.Column("id", sa.Integer(), primary_key=True))
with op.batch_alter_table("vehicle") as batch:
    batch.add_column(sa.Column("half", sa.Text()))
os._exit(9)
"""


def test_a_migration_that_is_killed_half_way_leaves_the_old_schema_and_the_retry_works(url, tmp_path):
    folder = step(tmp_path, KILLED)
    killed = start(url, folder)
    killed.communicate(timeout=60)
    assert killed.returncode == 9
    assert "half" not in columns_of(url, "customer") | columns_of(url, "vehicle")
    assert ask(url, "SELECT version_num FROM alembic_version") == [(known_revisions(MIGRATIONS)[-1],)]
    step(tmp_path, KILLED.replace("os._exit(9)", ""))
    retried = start(url, folder)
    out, err = retried.communicate(timeout=60)
    assert retried.returncode == 0, err
    assert "2099_01_01_next" in out
    assert "half" in columns_of(url, "customer") & columns_of(url, "vehicle")


def test_rebuilding_a_table_keeps_every_row_that_refers_to_it(url, tmp_path):
    before = ask(
        url, "SELECT (SELECT count(*) FROM vehicle), (SELECT count(*) FROM ticket), (SELECT count(*) FROM setup)"
    )
    body = """
    with op.batch_alter_table("customer", recreate="auto") as batch:
        batch.alter_column("notes", nullable=True)
    """
    migrate(url, step(tmp_path, textwrap.dedent(body)))
    after = ask(
        url, "SELECT (SELECT count(*) FROM vehicle), (SELECT count(*) FROM ticket), (SELECT count(*) FROM setup)"
    )
    assert before == after
    assert min(before[0]) >= 1


@pytest.fixture
def empty_url(engine_name, tmp_path, request):
    if engine_name == "sqlite":
        yield f"sqlite:///{tmp_path}/early.sqlite3"
        return
    server = request.getfixturevalue("postgres")
    name = server.create("template0")
    yield server.url(name)
    server.drop(name)


def file_one_pull(url):
    """One pull with all that it needs, as the models write it; its id as the database holds it."""
    at = datetime(2026, 11, 24, 9, tzinfo=UTC)
    engine = make_engine(read_address(url), writing=True)
    with engine.begin() as connection:

        def add(model, /, **values):  # names only these columns: later ones are not there yet
            row = {"id": new_id(), **values} if "id" in model.__table__.c else values
            connection.execute(sa.insert(model.__table__).values(**row))
            return row.get("id")

        staff = add(Staff, sign_in_name="t", full_name="T", role="tuner", password_hash="x", created_at=at)
        made = {"made_at": at, "made_by": staff}
        cell = add(Cell, name="One", drive="two_wheel", has_brake=True, altitude_m=10.0)
        customer = add(Customer, full_name="C", found_by="c", made_at=at)
        vehicle = add(Vehicle, customer_id=customer, make="M", model="N", found_by="m", made_at=at)
        ticket = add(Ticket, number=1, customer_id=customer, vehicle_id=vehicle, asked="power", **made)
        setup = add(Setup, ticket_id=ticket, position=0, name="Baseline", **made)
        add(RawFile, sha256="a" * 64, size_bytes=1, zstd=b"x", received_at=at)
        where = {"ticket_id": ticket, "setup_id": setup, "cell_id": cell, "operator_id": staff}
        told = {"kind": "sweep", "taken_at": at, "received_at": at, "file_name": "a.csv", "state": "readable"}
        pull = add(Pull, sha256="a" * 64, notes="kept", **where, **told)
    engine.dispose()
    return id_number(pull)


def test_pulls_filed_before_part_throttle_was_a_kind_stay_and_stay_guarded(empty_url):
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    config.attributes["database_url"] = empty_url
    command.upgrade(config, FIRST)
    pull_id = file_one_pull(empty_url)
    migrate(empty_url, MIGRATIONS)
    assert ask(empty_url, "SELECT id, notes FROM pull") == [(pull_id, "kept")]
    engine = make_engine(read_address(empty_url), writing=True)
    with pytest.raises(sa.exc.DBAPIError, match="is kept as it was written"), engine.begin() as connection:
        connection.execute(sa.text("UPDATE pull SET file_name = 'b.csv'"))
    with engine.begin() as connection:
        connection.execute(sa.text("UPDATE pull SET notes = 'may change'"))
    engine.dispose()


def test_a_step_that_would_lose_rows_is_undone(url, tmp_path):
    folder = step(tmp_path, 'op.execute("DELETE FROM setup")')
    with pytest.raises(MigrationError, match="setup"):
        migrate(url, folder)
    assert ask(url, "SELECT count(*) FROM setup")[0][0] >= 1


@pytest.mark.parametrize("engine_name", ["sqlite"], indirect=True)
def test_a_step_that_drops_the_guards_with_a_rebuilt_table_is_undone(url, tmp_path):
    body = 'with op.batch_alter_table("weather_reading") as batch:\n    batch.alter_column("source", nullable=True)'
    with pytest.raises(MigrationError, match="guard_weather_reading_update"):
        migrate(url, step(tmp_path, body))
    assert ask(url, "SELECT count(*) FROM sqlite_master WHERE name = 'guard_weather_reading_update'") == [(1,)]


@pytest.mark.parametrize("engine_name", ["sqlite"], indirect=True)
def test_a_step_that_leaves_dangling_references_is_undone(url, tmp_path):
    with pytest.raises(MigrationError, match="refer to nothing"):
        migrate(url, step(tmp_path, 'op.execute("UPDATE vehicle SET customer_id = 1")'))
    assert ask(url, "SELECT count(*) FROM vehicle WHERE customer_id = 1") == [(0,)]


@pytest.mark.parametrize("engine_name", ["sqlite"], indirect=True)
def test_a_copy_of_the_file_is_made_before_the_schema_changes(url, tmp_path):
    file = read_address(url).database
    migrate(url, step(tmp_path, 'op.add_column("customer", sa.Column("more", sa.Text()))'))
    folder, name = os.path.split(file)
    (copy,) = [one for one in os.listdir(folder) if one.startswith(f"{name}.before-")]
    kept = f"sqlite:///{folder}/{copy}"
    assert "more" not in columns_of(kept, "customer")
    assert ask(kept, "SELECT count(*) FROM ticket") == ask(url, "SELECT count(*) FROM ticket")


def test_processes_that_start_together_migrate_once(engine_name, tmp_path, request):
    if engine_name == "sqlite":
        url, drop = f"sqlite:///{tmp_path}/fresh.sqlite3", None
    else:
        server = request.getfixturevalue("postgres")
        drop = server.create("template0")
        url = server.url(drop)
    running = [start(url, MIGRATIONS) for _ in range(3)]
    told = [one.communicate(timeout=90) for one in running]
    assert [one.returncode for one in running] == [0, 0, 0], told
    assert schema_of(url).is_current
    assert ask(url, "SELECT count(*) FROM alembic_version") == [(1,)]
    if drop:
        server.drop(drop)


def schema_of(url, folder=MIGRATIONS):
    records = connect(url)
    state = schema_state(records.reader, folder)
    records.close()
    return state


def test_a_newer_schema_is_left_alone_with_one_plain_sentence(url, tmp_path):
    migrate(url, step(tmp_path, 'op.add_column("customer", sa.Column("more", sa.Text()))'))
    state = schema_of(url)
    assert not state.is_current
    assert "newer version" in state.words
    with pytest.raises(MigrationError, match="newer version"):
        migrate(url, MIGRATIONS)
    assert "more" in columns_of(url, "customer")


def test_an_older_schema_is_told_apart_from_an_empty_database(url, tmp_path):
    folder = step(tmp_path, "pass")
    assert "should be at 2099_01_01_next" in schema_of(url, folder).words
    file = tmp_path / "empty.sqlite3"
    assert f"no file {file}" in schema_of(f"sqlite:///{file}").words
    file.touch()
    assert "is empty" in schema_of(f"sqlite:///{file}").words


def test_migrating_twice_changes_nothing(url):
    assert "up to date" in migrate(url, MIGRATIONS)


def test_the_chain_of_migrations_is_read_in_order(tmp_path):
    folder = step(tmp_path, "pass")
    assert known_revisions(folder) == [*known_revisions(MIGRATIONS), "2099_01_01_next"]
    assert known_revisions(MIGRATIONS)[0] == FIRST
