"""Filing a pull: the file as it came, once and for ever, its columns beside it, and read back before the answer.

A file that is no run file at all is refused. One that is, but cannot be read yet, is filed all the same and says why.
"""

import hashlib
import unicodedata
from datetime import datetime
from typing import cast

import zstandard
from sqlalchemy import Table, bindparam, insert, select
from sqlalchemy.orm import Session

from pullbook.db.evidence import ColumnBlock, Pull, RawFile
from pullbook.db.stored_types import new_id
from pullbook.db.tables import Cell, Setup, Ticket
from pullbook.db.upserting import insert_once
from pullbook.errors import Clash, FieldProblem, Invalid, NotFound, NotReady
from pullbook.late_methods import dataclass
from pullbook.runfile.any_kind import read_run
from pullbook.runfile.block import pack
from pullbook.runfile.channels import Recognised, recognise
from pullbook.runfile.not_read import RunFileError
from pullbook.runfile.raw_run import RawRun
from pullbook.shop.auditing import note
from pullbook.shop.chaining import enter
from pullbook.shop.mapping import choose_map, keep_recognised

ZSTD_LEVEL = -1
LONGEST_FILE_NAME = 200

# built once, and of bare tables: a file is kept in less time than it takes to put these together
_TICKET, _PULL, _BLOCK, _FILE = (cast("Table", kind.__table__) for kind in (Ticket, Pull, ColumnBlock, RawFile))
_SETUP, _CELL = cast("Table", Setup.__table__), cast("Table", Cell.__table__)
_SAME_FILE = bindparam("sha256", type_=_PULL.c.sha256.type)
_SAME_TICKET = bindparam("ticket_id", type_=_PULL.c.ticket_id.type)
_TARGET = select(
    select(_TICKET.c.state).where(_TICKET.c.id == _SAME_TICKET).scalar_subquery(),
    select(_SETUP.c.ticket_id).where(_SETUP.c.id == bindparam("setup_id")).scalar_subquery(),
    select(_CELL.c.id).where(_CELL.c.id == bindparam("cell_id")).scalar_subquery(),
)
_LOCKED_TICKET = select(_TICKET.c.id).where(_TICKET.c.id == _SAME_TICKET).with_for_update()
_FILED = select(_PULL.c.id).where(_PULL.c.ticket_id == _SAME_TICKET, _PULL.c.sha256 == _SAME_FILE)
_THERE = select(
    _FILED.scalar_subquery().label("pull_id"),
    select(_FILE.c.sha256).where(_FILE.c.sha256 == _SAME_FILE).scalar_subquery().label("raw"),
    select(_BLOCK.c.sha256).where(_BLOCK.c.sha256 == _SAME_FILE).scalar_subquery().label("columns"),
)
_RAW = select(_FILE.c.zstd, _FILE.c.size_bytes).where(_FILE.c.sha256 == _SAME_FILE)

_NO_ROLLER = (
    "this log holds what the car answered and no roller speed, so it is no pull by itself: file the rollers' own file, "
    "and join this one to it on that pull's page"
)


@dataclass(frozen=True, slots=True)
class PullWanted:
    """What is said of a file beside its bytes."""

    ticket_id: str
    setup_id: str
    cell_id: str
    kind: str
    taken_at: datetime
    file_name: str
    channel_map_id: str | None = None
    notes: str = ""


@dataclass(frozen=True, slots=True)
class FileRead:
    """A file, hashed, packed and read as far as it can be."""

    sha256: str
    size_bytes: int
    zstd: bytes
    run: RawRun | None
    block: bytes | None
    recognised: Recognised | None
    unreadable_reason: str | None


def read_file(data: bytes, sha256: str) -> FileRead:
    """Everything about the file that needs no record. RefusedFile for what is no run file."""
    try:
        run = read_run(data)
    except RunFileError as error:
        return FileRead(sha256, len(data), _squeezed(data), None, None, None, error.reason)
    recognised = recognise(run.headers, run.values)
    return FileRead(sha256, len(data), _squeezed(data), run, pack(run.values), recognised, None)


def _squeezed(data: bytes) -> bytes:
    return zstandard.ZstdCompressor(level=ZSTD_LEVEL).compress(data)


def clean_file_name(name: str) -> str:
    """A name fit to show: the last part of a path, without control or direction marks. The bytes are kept by hash."""
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    kept = "".join(letter for letter in last if unicodedata.category(letter) not in ("Cc", "Cf", "Cs", "Co", "Cn"))
    return kept.strip()[:LONGEST_FILE_NAME] or "unnamed"


def refuse_unknown_target(session: Session, wanted: PullWanted) -> None:
    """NotFound: no such ticket. Invalid: another ticket's setup, or an unknown cell. Clash: the ticket is cancelled."""
    asked = {"ticket_id": wanted.ticket_id, "setup_id": wanted.setup_id, "cell_id": wanted.cell_id}
    state, holder, cell_id = session.execute(_TARGET, asked).one()
    if state is None:
        raise NotFound(f"There is no ticket {wanted.ticket_id}.")
    if state == "cancelled":
        raise Clash("This ticket is cancelled; book it again before filing pulls on it.")
    if holder != wanted.ticket_id:
        raise Invalid(
            f"There is no setup {wanted.setup_id} on this ticket.",
            FieldProblem("setup_id", wanted.setup_id, "the id of one of this ticket's setups"),
        )
    if cell_id is None:
        raise Invalid(
            f"There is no cell {wanted.cell_id}.",
            FieldProblem("cell_id", wanted.cell_id, "the id of the cell it was taken on"),
        )


def already_filed(session: Session, ticket_id: str, sha256: str) -> str | None:
    """The id of the pull that these very bytes are on this ticket, if they are."""
    found: str | None = session.execute(_FILED, {"ticket_id": ticket_id, "sha256": sha256}).scalar_one_or_none()
    return found


def file_pull(session: Session, now: datetime, staff_id: str, wanted: PullWanted, read: FileRead) -> tuple[str, bool]:
    """File it in this transaction; gives the pull's id and whether it was made now rather than found."""
    # two sendings of one file meet at the ticket's row: the second finds what the first filed
    session.execute(_LOCKED_TICKET, {"ticket_id": wanted.ticket_id})
    there = session.execute(_THERE, {"ticket_id": wanted.ticket_id, "sha256": read.sha256}).one()
    if there.pull_id is not None:
        return there.pull_id, False
    _keep_bytes(session, now, read, raw_is_there=there.raw is not None, columns_are_there=there.columns is not None)
    map_id, reason = None, read.unreadable_reason
    if read.run is not None and read.recognised is not None:
        mapped = choose_map(session, read.run.headers, read.run.values, wanted.channel_map_id, read.recognised)
        map_id, reason = mapped.map_id, mapped.unreadable_reason
        if reason is not None and read.run.reader.startswith("can") and wanted.channel_map_id is None:
            reason = _NO_ROLLER
        if map_id is None and reason is None:
            map_id = keep_recognised(session, read.recognised, now, staff_id)
    pull_id, state = new_id(), "readable" if reason is None else "unreadable"
    session.execute(
        insert(_PULL),
        {
            "id": pull_id,
            "ticket_id": wanted.ticket_id,
            "setup_id": wanted.setup_id,
            "cell_id": wanted.cell_id,
            "sha256": read.sha256,
            "kind": wanted.kind,
            "taken_at": wanted.taken_at,
            "received_at": now,
            "file_name": clean_file_name(wanted.file_name),
            "operator_id": staff_id,
            "channel_map_id": map_id,
            "state": state,
            "unreadable_reason": reason,
            "notes": wanted.notes,
        },
    )
    after = {"sha256": read.sha256, "setup_id": wanted.setup_id, "state": state, "channel_map_id": map_id}
    note(session, now, staff_id, "file", "pull", pull_id, None, after)
    enter(session, now, "pull", pull_id)
    return pull_id, True


def keep_file(session: Session, now: datetime, read: FileRead) -> None:
    """Bytes and columns of a file that is not a pull, or not yet; nothing happens where they are kept already."""
    kept = {"sha256": read.sha256}
    raw = session.execute(select(_FILE.c.sha256).where(_FILE.c.sha256 == _SAME_FILE), kept).one_or_none()
    columns = session.execute(select(_BLOCK.c.sha256).where(_BLOCK.c.sha256 == _SAME_FILE), kept).one_or_none()
    _keep_bytes(session, now, read, raw_is_there=raw is not None, columns_are_there=columns is not None)


def _keep_bytes(
    session: Session, now: datetime, read: FileRead, *, raw_is_there: bool, columns_are_there: bool
) -> None:
    """The raw file under its hash and its columns; both may be there already, from another ticket."""
    if not raw_is_there:  # looked for first: SQLite's guards refuse a second one before its conflict clause is asked
        session.execute(
            insert_once(session, _FILE, "sha256"),
            {"sha256": read.sha256, "size_bytes": read.size_bytes, "zstd": read.zstd, "received_at": now},
        )
    if not columns_are_there:
        _write_columns(session, read)


def keep_columns(session: Session, read: FileRead) -> None:
    """The columns of a file that could be parsed, beside its bytes."""
    if session.execute(select(_BLOCK.c.sha256).where(_BLOCK.c.sha256 == read.sha256)).one_or_none() is None:
        _write_columns(session, read)


def _write_columns(session: Session, read: FileRead) -> None:
    if read.run is None:
        return
    session.execute(
        insert_once(session, _BLOCK, "sha256"),
        {
            "sha256": read.sha256,
            "reader": read.run.reader,
            "headers": [{"header": header.text, "unit": header.unit_text} for header in read.run.headers],
            "found": read.run.found,
            "row_count": read.run.values.shape[1],
            "block": read.block,
        },
    )


def raw_bytes(session: Session, sha256: str) -> bytes:
    """The very bytes that were sent."""
    row = session.execute(_RAW, {"sha256": sha256}).one_or_none()
    if row is None:
        raise NotFound(f"There is no file {sha256}.")
    return zstandard.ZstdDecompressor().decompress(row.zstd, max_output_size=row.size_bytes)


def verify_stored(session: Session, sha256: str) -> None:
    """Read back, through a connection that did not write it, what a 201 will promise. NotReady when it differs."""
    try:
        kept = hashlib.sha256(raw_bytes(session, sha256)).hexdigest()
    except (zstandard.ZstdError, NotFound) as error:
        kept = f"unreadable ({error})"
    if kept != sha256:
        raise NotReady(
            f"The file was written but reads back as {kept}, not as {sha256}. Keep your copy, do not trust this one, "
            "and have the disk of the server looked at before sending it again."
        )
