"""Bringing a database to this version's schema: one process at a time, a copy first, all steps or none."""

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, inspect, text
from sqlalchemy.pool import NullPool

from pullbook.db.connect import BUSY_TIMEOUT_MS, read_address, sqlite_driver
from pullbook.db.evidence import GUARDED
from pullbook.db.found_triggers import is_described, restore_triggers
from pullbook.db.guards import missing_guards
from pullbook.db.schema_state import known_revisions, schema_state

try:
    import fcntl
except ImportError:  # Windows: SQLite's own lock alone keeps a second process out there
    fcntl = None  # type: ignore[assignment]

ADVISORY_LOCK = 0x50554C4C  # any number, as long as every version of the service takes the same


class MigrationError(ValueError):
    """The database could not be brought to this version's schema; it is as it was before."""


def migrate(database_url: str, migrations: Path) -> str:
    """Bring the database to the newest schema in the folder. Returns, in words, what was done."""
    # the tool takes a quarter of a second to load, and only this command needs it
    from alembic import command  # noqa: PLC0415
    from alembic.config import Config  # noqa: PLC0415

    engine = migration_engine(read_address(database_url))
    before = schema_state(engine, migrations)
    engine.dispose()
    if not before.is_known:
        raise MigrationError(before.words)
    if before.is_current:
        return before.words
    config = Config()
    config.set_main_option("script_location", str(migrations).replace("%", "%%"))
    config.attributes["database_url"] = database_url
    command.upgrade(config, "head")
    return f"the schema went from {before.current or 'nothing'} to {before.head}"


def migration_engine(url: URL) -> Engine:
    """An engine of its own. Foreign keys are off: rebuilding a table with them on deletes what refers to its rows."""
    if url.get_backend_name() != "sqlite":
        return create_engine(url, poolclass=NullPool)
    engine = create_engine(
        url, module=sqlite_driver, poolclass=NullPool, connect_args={"isolation_level": None, "timeout": 5}
    )

    @event.listens_for(engine, "connect")
    def _set_up(connection: Any, _record: Any) -> None:
        for words in (
            f"busy_timeout={BUSY_TIMEOUT_MS}",
            "foreign_keys=OFF",
            "journal_mode=WAL",
            "synchronous=FULL",
            "secure_delete=ON",
        ):
            connection.execute(f"PRAGMA {words}")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        connection.exec_driver_sql("BEGIN IMMEDIATE")

    return engine


@contextmanager
def alone(url: URL) -> Iterator[None]:
    """Hold what keeps a second process from migrating the same SQLite file; on PostgreSQL `upgrading` takes a lock."""
    if url.get_backend_name() != "sqlite" or fcntl is None:
        yield
        return
    with Path(f"{url.database}.migrating").open("a") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def upgrading(connection: Connection, migrations: Path, run: Callable[[], None]) -> None:
    """Run every step in the transaction that is open, and look at the outcome before it is kept."""
    if connection.dialect.name == "postgresql":
        connection.execute(text("SELECT pg_advisory_xact_lock(:number)"), {"number": ADVISORY_LOCK})
    counts = row_counts(connection)
    current = revision_of(connection)
    known = known_revisions(migrations)
    if connection.dialect.name == "sqlite" and current in known[:-1]:
        copy_file(Path(str(connection.engine.url.database)), known[-1])
    run()
    is_newest = [revision_of(connection)] == known[-1:]
    if is_newest:
        restore_triggers(connection)
    check_outcome(connection, counts, is_newest=is_newest)


def revision_of(connection: Connection) -> str | None:
    """The migration the database is at."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    revision: str | None = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    return revision


def row_counts(connection: Connection) -> dict[str, int]:
    """How many rows each table has."""
    names = inspect(connection).get_table_names()
    return {
        name: connection.execute(text(f'SELECT count(*) FROM "{name}"')).scalar_one()  # noqa: S608  names of our own
        for name in names
        if name != "alembic_version" and is_described(name)
    }


def check_outcome(connection: Connection, counts_before: dict[str, int], *, is_newest: bool) -> None:
    """Raise MigrationError, which undoes everything, where rows were lost, references dangle or guards are missing."""
    after = row_counts(connection)
    lost = [name for name, count in counts_before.items() if name in after and after[name] < count]
    if lost:
        raise MigrationError(f"rows would be lost from {', '.join(lost)}; nothing was changed")
    if connection.dialect.name == "sqlite":
        dangling = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
        if dangling:
            told = f"{len(dangling)} rows of {dangling[0][0]}"
            raise MigrationError(f"{told} would refer to nothing; nothing was changed")
    if is_newest and (missing := missing_guards(connection, GUARDED)):
        raise MigrationError(f"the guards {', '.join(missing)} would be missing; nothing was changed")


def copy_file(file: Path, head: str) -> Path:
    """A whole copy of the SQLite file beside it, taken before the schema changes."""
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ")
    target = file.with_name(f"{file.name}.before-{head}-{stamp}")
    source: sqlite3.Connection = sqlite_driver.connect(str(file))
    copy: sqlite3.Connection = sqlite_driver.connect(str(target))
    try:
        source.backup(copy)
    finally:
        copy.close()
        source.close()
    return target
