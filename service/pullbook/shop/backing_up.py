"""Backing up: everything on record in one plain zip, read as it stood at one moment while others go on writing.

`manifest.json` says what is in it: schema, version, time, and each part's rows and SHA-256. `head.txt` is the chain's
head at that moment, signed where the key is there. The keys themselves are never in it. The same bundle comes from
either engine and goes into either.
"""

import hashlib
import json
import os
import secrets
import zipfile
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, select
from sqlalchemy.orm import Session

from pullbook.db.carried import LEFT_OUT, Carried, carried_tables
from pullbook.db.chain import ChainKey
from pullbook.db.connect import Database
from pullbook.db.migrating import revision_of
from pullbook.errors import Clash, NotReady
from pullbook.late_methods import dataclass
from pullbook.shop.attesting import Signer, head_note, public_line
from pullbook.shop.sealing import plain

KIND, FORMAT = "pullbook backup", 1
MANIFEST, HEAD = "manifest.json", "head.txt"
_NOT_IN_IT = (
    "the key that receipts are signed with (signing_key.pem)",
    "the key that addresses of results links are made from (links.key)",
    "open sign-ins, unused invitations and counts of tries",
)


@dataclass(frozen=True, slots=True)
class Part:
    """One member of the bundle: a table's rows, or the head. `rows` is None for what has none."""

    name: str
    table: str | None
    columns: list[str]
    rows: int | None
    size_bytes: int
    sha256: str


@dataclass(frozen=True, slots=True)
class Made:
    """What a backup came to."""

    path: Path
    rows: int
    size_bytes: int
    head: str  # the note


def back_up(database: Database, signer: Signer | None, now: datetime, to: Path, product_version: str) -> Made:
    """Write a bundle. It lies under its name when it is whole, and not before; Clash where that name is taken.

    NotReady where the disk refuses. `to` may be a folder: the bundle is then named by the time.
    """
    if to.is_dir():
        to = to / f"pullbook-{now:%Y%m%dT%H%M%SZ}.zip"
    try:
        with _whole_or_not_at_all(to) as half, snapshot(database) as connection:
            manifest = _write(connection, half, signer, now, product_version)
        size_bytes = to.stat().st_size
    except OSError as error:
        raise NotReady(f"{to} cannot be written: {error.strerror or error}; no backup was made") from error
    rows = sum(one["rows"] or 0 for one in manifest["parts"])
    return Made(to, rows, size_bytes, manifest["chain"]["note"])


@contextmanager
def snapshot(database: Database) -> Iterator[Connection]:
    """A connection that sees the records as they stand at its first statement, whatever is written meanwhile."""
    with database.reader.connect() as connection:
        if not database.is_sqlite:  # whose every reading transaction is one
            connection.execution_options(isolation_level="REPEATABLE READ")
        with connection.begin():
            yield connection


@contextmanager
def _whole_or_not_at_all(to: Path) -> Iterator[Path]:
    if to.exists() or to.is_symlink():
        raise Clash(f"{to} is there already and is not written over; another name would do")
    half = to.with_name(f".{to.name}.{secrets.token_hex(8)}.half")
    try:
        os.close(os.open(half, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))  # names and password hashes are in it
        yield half
        with half.open("r+b") as file:
            os.fsync(file.fileno())
        _name(half, to)
    finally:
        half.unlink(missing_ok=True)


def _name(half: Path, to: Path) -> None:
    """Give the whole file its name, never over one that came there meanwhile."""
    try:
        os.link(half, to)
    except OSError as error:  # taken, or a disk that knows no second names
        if to.exists():
            raise Clash(f"{to} came to be there meanwhile and is not written over; another name would do") from error
        half.rename(to)


def _write(
    connection: Connection, half: Path, signer: Signer | None, now: datetime, product_version: str
) -> dict[str, Any]:
    with zipfile.ZipFile(half, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as bundle:
        schema = revision_of(connection)
        with Session(connection) as session:
            entries, note = head_note(session, signer, now)
            keys = session.scalars(select(ChainKey.public_key).order_by(ChainKey.made_at, ChainKey.id)).all()
        parts = [_member(bundle, HEAD, None, [note.encode()])]
        for one in carried_tables():
            with closing(one.lines(connection)) as lines:  # however it ends, before the connection does
                parts.append(_member(bundle, f"tables/{one.name}.jsonl", one, lines))
        manifest = {
            "kind": KIND,
            "format": FORMAT,
            "product_version": product_version,
            "schema": schema,
            "engine": connection.dialect.name,
            "made_at": plain(now),
            "chain": {"entries": entries, "note": note},
            "public_keys": [public_line(one) for one in keys],
            "not_in_it": _NOT_IN_IT,
            "tables_left_out": sorted(LEFT_OUT),
            "parts": [asdict(one) for one in parts],
        }
        bundle.writestr(MANIFEST, json.dumps(manifest, indent=1, ensure_ascii=False))
    return manifest


def _member(bundle: zipfile.ZipFile, name: str, table: Carried | None, lines: Iterable[bytes]) -> Part:
    digest, size_bytes, count = hashlib.sha256(), 0, 0
    with bundle.open(name, "w", force_zip64=True) as member:
        for line in lines:
            member.write(line)
            digest.update(line)
            size_bytes += len(line)
            count += 1
    if table is None:
        return Part(name, None, [], None, size_bytes, digest.hexdigest())
    return Part(name, table.name, table.columns, count - 1, size_bytes, digest.hexdigest())
