"""Restoring: a bundle into an empty database of either engine, all of it or nothing.

The bundle is read through and held against its manifest before the database is touched. Once loaded, every table is
written out again in the same transaction and held against the same hashes; only then is it kept.
"""

import hashlib
import json
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from itertools import islice
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, delete
from sqlalchemy import exc as sql

from pullbook.db.carried import Carried, all_tables, carried_tables, tables_with_records
from pullbook.db.evidence import GUARDED
from pullbook.db.guards import missing_guards
from pullbook.db.migrating import migration_engine, revision_of
from pullbook.db.triggers_aside import TriggersError, triggers_aside
from pullbook.errors import Clash, Invalid, NotReady
from pullbook.late_methods import dataclass
from pullbook.shop.backing_up import FORMAT, HEAD, KIND, MANIFEST, Part

_UNREADABLE = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError, OSError)
_ONE_READ = 1 << 20
_LARGEST_MANIFEST_BYTES = 4_000_000


@dataclass(frozen=True, slots=True)
class Bundle:
    """A bundle that was read through and found to be whole."""

    path: Path
    made_at: str
    product_version: str
    schema: str
    parts: dict[str, Part]  # by table

    @property
    def rows(self) -> int:
        """How many rows it carries."""
        return sum(one.rows or 0 for one in self.parts.values())


def read_bundle(path: Path, known_schemas: Sequence[str]) -> Bundle:
    """Read a bundle through. Invalid, in words, where it is cut, altered, or of another version."""
    with _opened(path) as bundle:
        told = _manifest(bundle, path)
        if told.get("kind") != KIND:
            raise Invalid(f"{path} is no backup of Pullbook")
        try:
            version, schema = str(told["product_version"]), str(told["schema"])
            newer = int(told["format"]) > FORMAT or schema not in known_schemas
            if newer:
                raise Invalid(
                    f"{path} was made by a newer version of Pullbook ({version}, schema {schema}); this one knows up "
                    f"to {known_schemas[-1]}. Restore it with that version"
                )
            if schema != known_schemas[-1]:
                raise Invalid(
                    f"{path} was made by an older version of Pullbook ({version}, schema {schema}; this one is at "
                    f"{known_schemas[-1]}). Restore it with that version, then `pullbook migrate` with this one"
                )
            parts = [Part(**one) for one in told["parts"]]
            found = Bundle(path, str(told["made_at"]), version, schema, {one.table: one for one in parts if one.table})
        except (KeyError, TypeError) as error:
            raise Invalid(f"{path}: its manifest is not as Pullbook writes it ({error})") from error
        _hold_together(bundle, path, parts)
    return found


def head_in(path: Path) -> str | None:
    """The signed head in a bundle, as text; None where the file is no bundle."""
    if not zipfile.is_zipfile(path):
        return None
    with _opened(path) as bundle:
        return bundle.read(HEAD).decode() if HEAD in bundle.namelist() else None


@contextmanager
def _opened(path: Path) -> Iterator[zipfile.ZipFile]:
    """The zip; whatever cannot be read of it is said to be cut or altered."""
    try:
        with zipfile.ZipFile(path) as bundle:
            yield bundle
    except FileNotFoundError as error:
        raise Invalid(f"there is no file {path}") from error
    except _UNREADABLE as error:
        raise Invalid(f"{path} is cut off, altered, or no backup ({error}); nothing was changed") from error


def _manifest(bundle: zipfile.ZipFile, path: Path) -> dict[str, Any]:
    if MANIFEST not in bundle.namelist() or bundle.getinfo(MANIFEST).file_size > _LARGEST_MANIFEST_BYTES:
        raise Invalid(f"{path} is no backup of Pullbook: it has no {MANIFEST}")
    told = json.loads(bundle.read(MANIFEST))
    if not isinstance(told, dict):
        raise Invalid(f"{path}: its manifest is not as Pullbook writes it")
    return told


def _hold_together(bundle: zipfile.ZipFile, path: Path, parts: Sequence[Part]) -> None:
    """Every part is there, once, with the rows, columns and bytes that the manifest tells of."""
    expected = sorted([MANIFEST, *(one.name for one in parts)])
    if sorted(bundle.namelist()) != expected:
        odd = sorted(set(bundle.namelist()) ^ set(expected)) or ["a part that stands twice"]
        raise Invalid(f"{path} was altered: its manifest and its parts differ by {', '.join(odd)}")
    wanted = {one.name: one.columns for one in carried_tables()}
    if {one.table: one.columns for one in parts if one.table} != wanted:
        raise Invalid(f"{path} was altered: its tables or their columns are not those of its schema")
    for part in parts:
        digest, size_bytes, lines = hashlib.sha256(), 0, 0
        with bundle.open(part.name) as member:
            while piece := member.read(_ONE_READ):
                digest.update(piece)
                size_bytes += len(piece)
                lines += piece.count(b"\n")
        rows_are_right = part.rows is None or part.rows == lines - 1
        if digest.hexdigest() != part.sha256 or size_bytes != part.size_bytes or not rows_are_right:
            raise Invalid(f"{path} was altered: {part.name} is not what its manifest says")


def restore(url: URL, bundle: Bundle) -> None:
    """Load a bundle into a database at its schema that holds nothing yet, in one transaction.

    Clash where something is on record there; Invalid where what came in is not what the bundle says. Nothing is kept
    then. No table's next number comes from the engine, so there is no sequence to be set.
    """
    engine = migration_engine(url)
    try:
        with engine.begin() as connection:
            _alone_with(connection)
            _must_be_empty(connection, bundle)
            with triggers_aside(connection):
                _load(connection, bundle)
            _must_be_whole(connection, bundle)
    except (sql.IntegrityError, sql.DataError, TriggersError) as error:
        told = str(getattr(error, "orig", error)).strip().splitlines()[0]
        raise Invalid(f"what is in {bundle.path} cannot be on record as it is: {told}; nothing was kept") from error
    finally:
        engine.dispose()


def _alone_with(connection: Connection) -> None:
    """Nobody else reads or writes until it is done; on SQLite the transaction began so, for writers."""
    if connection.dialect.name == "postgresql":
        names = ", ".join(f'"{one.name}"' for one in all_tables())
        connection.exec_driver_sql("SET LOCAL lock_timeout = '10s'")
        connection.exec_driver_sql(f"LOCK TABLE {names} IN ACCESS EXCLUSIVE MODE")


def _must_be_empty(connection: Connection, bundle: Bundle) -> None:
    if revision_of(connection) != bundle.schema:
        raise NotReady("the database's schema changed meanwhile; nothing was kept")
    there = tables_with_records(connection)
    if there:
        told = ", ".join(f"{name} ({count})" for name, count in list(there.items())[:5])
        more = " and more" if len(there) > 5 else ""
        raise Clash(
            f"the database is not empty: {told}{more}. A backup goes into a new database only; nothing was kept"
        )


def _load(connection: Connection, bundle: Bundle) -> None:
    for one in reversed(all_tables()):
        connection.execute(delete(one.table))  # what migrating put there
    with _opened(bundle.path) as file:
        for one in carried_tables():
            with file.open(bundle.parts[one.name].name) as member:
                one.fill(connection, islice(member, 1, None))


def _must_be_whole(connection: Connection, bundle: Bundle) -> None:
    """Each table gives the very part that it came from, references lead somewhere, guards stand."""
    for one in carried_tables():
        rows, sha256 = _written_out(connection, one)
        part = bundle.parts[one.name]
        if (rows, sha256) != (part.rows, part.sha256):
            raise Invalid(
                f"{one.name} came out otherwise than it went in ({rows} rows of {part.rows}); nothing was kept"
            )
    if connection.dialect.name == "sqlite":
        dangling = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
        if dangling:
            raise Invalid(f"{len(dangling)} rows of {dangling[0][0]} would refer to nothing; nothing was kept")
    else:
        connection.exec_driver_sql("ANALYZE")
    if missing := missing_guards(connection, GUARDED):
        raise Invalid(f"the guards {', '.join(missing)} would be missing; nothing was kept")


def _written_out(connection: Connection, table: Carried) -> tuple[int, str]:
    digest, lines = hashlib.sha256(), 0
    for line in table.lines(connection):
        digest.update(line)
        lines += 1
    return lines - 1, digest.hexdigest()
