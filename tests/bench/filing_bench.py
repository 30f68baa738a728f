"""Filing over HTTP against the same hash, parse, pack and commit in one process, on the same engine and disk."""

import hashlib
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import zstandard
from sqlalchemy import insert

from pullbook.db.connect import Database, connect
from pullbook.db.evidence import ColumnBlock, RawFile
from pullbook.db.migrating import migrate
from pullbook.runfile.block import pack
from pullbook.runfile.delimited import read_delimited
from pullbook.settings import MIGRATIONS
from tests.bench.rows import Row, medians_s, ms
from tests.bench.served import Served
from tests.bench.typical_pull import large_file, typical_file

AT = datetime(2026, 3, 10, 9, 0, tzinfo=UTC)


class EverNew:
    """The same file over and over, each time with another last digit somewhere, so that it is never filed already."""

    def __init__(self, data: bytes) -> None:
        self.heading, _, self.body = data.partition(b"\n")
        self.count = 0

    def __call__(self) -> bytes:
        self.count += 1
        return b"# run %08d\n" % self.count + self.heading + b"\n" + self.body


def measure(running: Served) -> Iterator[Row]:
    """A typical and a large file."""
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'floor.sqlite3'}"
        migrate(url, MIGRATIONS)
        records = connect(url)
        for name, data, target, repeats in (
            ("15 s × 200 Hz × 12", typical_file(), 2.5, 40),
            ("60 s × 1 000 Hz × 20", large_file(), 2.0, 7),
        ):
            sent, kept = EverNew(data), EverNew(data)
            kept.count = 50_000_000
            works = [lambda sent=sent: _send(running, sent()), lambda kept=kept: _keep(records, kept())]
            whole, floor = medians_s(works, repeats, warm_ups=2)
            note = f"{ms(whole)} to {ms(floor)}; {len(data) / 1e6:.2f} MB"
            yield Row(f"filing {name} over HTTP, × in process", whole / floor, target, note=note)
        records.close()


def _send(running: Served, data: bytes) -> None:
    status, body = running.file(data, "again.csv", 60.0)
    if status != 201:
        raise RuntimeError(f"{status} {body!r}")


def _keep(records: Database, data: bytes) -> None:
    """Hash, parse, pack, compress, commit to the disk: nothing else."""
    sha256 = hashlib.sha256(data).hexdigest()
    run = read_delimited(data)
    packed, raw = pack(run.values), zstandard.ZstdCompressor(level=1).compress(data)
    headings = [{"header": header.text, "unit": header.unit_text} for header in run.headers]
    with records.writing() as session:
        session.execute(insert(RawFile).values(sha256=sha256, size_bytes=len(data), zstd=raw, received_at=AT))
        block = {"reader": "bench", "headers": headings, "found": run.found, "row_count": run.values.shape[1]}
        session.execute(insert(ColumnBlock).values(sha256=sha256, block=packed, **block))
