"""Rehashing: every file's bytes against the hash that they were filed under, by parts of the archive."""

import hashlib
from collections.abc import Callable, Iterator, Mapping
from typing import Any

import zstandard
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from pullbook.db.evidence import ColumnBlock, RawFile
from pullbook.late_methods import dataclass
from pullbook.runfile.any_kind import read_run
from pullbook.runfile.block import pack
from pullbook.runfile.not_read import RunFileError
from pullbook.shop.verifying import Finding, Seen

_AT_ONCE = 50


@dataclass(frozen=True, slots=True)
class Share:
    """Part `part` of `of` of the archive, by the first bits of each file's hash."""

    part: int = 1
    of: int = 1

    def holds(self, sha256: str) -> bool:
        """Whether a file is in this part."""
        return int(sha256[:8], 16) % self.of == self.part - 1


def files(
    session: Session, seen: Seen, share: Share, after: str, with_columns: bool, done: Callable[[int, int, str], None]
) -> Iterator[Finding]:
    """Every file of this part beyond `after`, by hash. `done` is told how many of how many, and which came last.

    With columns, each is also read again by today's reader and held against what is kept of it.
    """
    sizes = _sizes(seen)
    names = sorted({*session.execute(select(RawFile.sha256)).scalars(), *sizes})
    wanted = [name for name in names if _is_hash(name) and share.holds(name)]
    strange = [name for name in names if not _is_hash(name)]
    for name in strange:
        yield Finding(None, "raw file", name, "this is no SHA-256")
    left = [name for name in wanted if name > after]
    for place, name in enumerate(left, 1 + len(wanted) - len(left)):
        yield from _one(session, name, sizes.get(name), with_columns)
        if place % _AT_ONCE == 0 or place == len(wanted):
            done(place, len(wanted), name)


def _sizes(seen: Seen) -> dict[str, Mapping[Any, Any]]:
    """The first entry that names each file."""
    found: dict[str, Mapping[Any, Any]] = {}
    for entry in seen.by_record.values():
        if entry["sha256"] is not None:
            found.setdefault(entry["sha256"], entry)
    return found


def _is_hash(text: str) -> bool:
    return len(text) == 64 and not set(text) - set("0123456789abcdef")


def _one(session: Session, sha256: str, entry: Mapping[Any, Any] | None, with_columns: bool) -> Iterator[Finding]:
    row = session.execute(select(RawFile.zstd, RawFile.size_bytes).where(RawFile.sha256 == sha256)).one_or_none()
    number = None if entry is None else entry["number"]
    kind, record_id = ("raw file", sha256) if entry is None else (f"file of {entry['kind']}", entry["record_id"])
    if row is None:
        yield Finding(number, kind, record_id, f"the bytes of {sha256} are gone")
        return
    if entry is None:
        yield Finding(None, kind, record_id, "no entry names this file: it was put in past the service")
    size = row.size_bytes if entry is None else entry["size_bytes"]
    try:
        data = zstandard.ZstdDecompressor().decompress(row.zstd, max_output_size=max(size, row.size_bytes) + 1)
    except zstandard.ZstdError as error:
        yield Finding(number, kind, record_id, f"the bytes of {sha256} cannot be unpacked: {error}")
        return
    found = hashlib.sha256(data).hexdigest()
    if found != sha256:
        yield Finding(number, kind, record_id, f"its {len(data)} bytes hash to {found} and not to {sha256}")
    elif len(data) != size or row.size_bytes != size:
        yield Finding(
            number, kind, record_id, f"it has {len(data)} bytes, {row.size_bytes} by its row and {size} entered"
        )
    elif with_columns:
        yield from _columns(session, sha256, data, number, record_id)


def _columns(session: Session, sha256: str, data: bytes, number: int | None, record_id: str) -> Iterator[Finding]:
    """A block is made from the file and can be made again; where it differs, figures are not the file's."""
    kept = session.execute(select(ColumnBlock.__table__).where(ColumnBlock.sha256 == sha256)).one_or_none()
    if kept is None:
        return
    try:
        run = read_run(data)
    except RunFileError as error:
        yield Finding(number, "columns of file", record_id, f"today's reader cannot read it: {error.reason}")
        return
    if run.reader != kept.reader:
        return  # another version of the reader: not comparable, and not wrong
    headers = [{"header": header.text, "unit": header.unit_text} for header in run.headers]
    if pack(run.values) != kept.block or headers != kept.headers or run.values.shape[1] != kept.row_count:
        yield Finding(number, "columns of file", record_id, "what is kept of its columns is not what the file holds")


def how_many(session: Session) -> int:
    """How many files there are."""
    return session.execute(select(func.count()).select_from(RawFile)).scalar_one()
