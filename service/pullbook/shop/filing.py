"""Filing a pull: the file as it came, once and for ever, its columns beside it, and read back before the answer.

A file that is no run file at all is refused. One that is, but cannot be read yet, is filed all the same and says why.
"""

import hashlib
import unicodedata
from dataclasses import dataclass
from datetime import datetime

import zstandard
from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.db.evidence import ColumnBlock, Pull, RawFile
from pullbook.db.tables import Cell, Setup, Ticket
from pullbook.db.upserting import upsert
from pullbook.errors import Clash, FieldProblem, Invalid, NotFound, NotReady
from pullbook.runfile.block import pack
from pullbook.runfile.channels import Recognised, recognise
from pullbook.runfile.delimited import READER, RawRun, RunFileError, read_delimited
from pullbook.shop.auditing import note
from pullbook.shop.mapping import choose_map, keep_recognised

ZSTD_LEVEL = -1
LONGEST_FILE_NAME = 200


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
        run = read_delimited(data)
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
    state = session.execute(select(Ticket.state).where(Ticket.id == wanted.ticket_id)).scalar_one_or_none()
    if state is None:
        raise NotFound(f"There is no ticket {wanted.ticket_id}.")
    if state == "cancelled":
        raise Clash("This ticket is cancelled; book it again before filing pulls on it.")
    holder = session.execute(select(Setup.ticket_id).where(Setup.id == wanted.setup_id)).scalar_one_or_none()
    if holder != wanted.ticket_id:
        raise Invalid(
            f"There is no setup {wanted.setup_id} on this ticket.",
            FieldProblem("setup_id", wanted.setup_id, "the id of one of this ticket's setups"),
        )
    if session.execute(select(Cell.id).where(Cell.id == wanted.cell_id)).one_or_none() is None:
        raise Invalid(
            f"There is no cell {wanted.cell_id}.",
            FieldProblem("cell_id", wanted.cell_id, "the id of the cell it was taken on"),
        )


def already_filed(session: Session, ticket_id: str, sha256: str) -> str | None:
    """The id of the pull that these very bytes are on this ticket, if they are."""
    return session.execute(
        select(Pull.id).where(Pull.ticket_id == ticket_id, Pull.sha256 == sha256)
    ).scalar_one_or_none()


def file_pull(session: Session, now: datetime, staff_id: str, wanted: PullWanted, read: FileRead) -> tuple[str, bool]:
    """File it in this transaction; gives the pull's id and whether it was made now rather than found."""
    # two sendings of one file meet at the ticket's row: the second finds what the first filed
    session.execute(select(Ticket.id).where(Ticket.id == wanted.ticket_id).with_for_update())
    there = already_filed(session, wanted.ticket_id, read.sha256)
    if there is not None:
        return there, False
    _keep_bytes(session, now, read)
    map_id, reason = None, read.unreadable_reason
    if read.run is not None and read.recognised is not None:
        mapped = choose_map(session, read.run.headers, read.run.values, wanted.channel_map_id, read.recognised)
        map_id, reason = mapped.map_id, mapped.unreadable_reason
        if map_id is None and reason is None:
            map_id = keep_recognised(session, read.recognised, now, staff_id)
    pull = Pull(
        ticket_id=wanted.ticket_id,
        setup_id=wanted.setup_id,
        cell_id=wanted.cell_id,
        sha256=read.sha256,
        kind=wanted.kind,
        taken_at=wanted.taken_at,
        received_at=now,
        file_name=clean_file_name(wanted.file_name),
        operator_id=staff_id,
        channel_map_id=map_id,
        state="readable" if reason is None else "unreadable",
        unreadable_reason=reason,
        notes=wanted.notes,
    )
    session.add(pull)
    session.flush()
    after = {"sha256": read.sha256, "setup_id": wanted.setup_id, "state": pull.state, "channel_map_id": map_id}
    note(session, now, staff_id, "file", "pull", pull.id, None, after)
    return pull.id, True


def _keep_bytes(session: Session, now: datetime, read: FileRead) -> None:
    """The raw file under its hash and its columns; both may be there already, from another ticket."""
    if session.execute(select(RawFile.sha256).where(RawFile.sha256 == read.sha256)).one_or_none() is None:
        # looked for first: SQLite's guards refuse a second one before its conflict clause is asked
        session.execute(
            upsert(session, RawFile)
            .values(sha256=read.sha256, size_bytes=read.size_bytes, zstd=read.zstd, received_at=now)
            .on_conflict_do_nothing(index_elements=["sha256"])
        )
    keep_columns(session, read)


def keep_columns(session: Session, read: FileRead) -> None:
    """The columns of a file that could be parsed, beside its bytes."""
    there = session.execute(select(ColumnBlock.sha256).where(ColumnBlock.sha256 == read.sha256)).one_or_none()
    if read.run is None or there is not None:
        return
    session.execute(
        upsert(session, ColumnBlock)
        .values(
            sha256=read.sha256,
            reader=READER,
            headers=[{"header": header.text, "unit": header.unit_text} for header in read.run.headers],
            found=read.run.found,
            row_count=read.run.values.shape[1],
            block=read.block,
        )
        .on_conflict_do_nothing(index_elements=["sha256"])
    )


def raw_bytes(session: Session, sha256: str) -> bytes:
    """The very bytes that were sent."""
    row = session.execute(select(RawFile.zstd, RawFile.size_bytes).where(RawFile.sha256 == sha256)).one_or_none()
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
