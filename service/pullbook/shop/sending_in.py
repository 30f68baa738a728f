"""What cells' own computers send in: devices known by their tokens, files for the tray, and what becomes of those."""

from datetime import datetime, timedelta
from typing import cast

from sqlalchemy import Table, bindparam, insert, select, update
from sqlalchemy.orm import Session

from pullbook.db.evidence import RawFile
from pullbook.db.senders import Device, TrayFile
from pullbook.db.stored_types import new_id
from pullbook.db.tables import Cell
from pullbook.errors import Clash, FieldProblem, NotFound
from pullbook.late_methods import dataclass
from pullbook.shop.auditing import note
from pullbook.shop.chaining import enter
from pullbook.shop.filing import FileRead, PullWanted, clean_file_name, file_pull, keep_file, raw_bytes, read_file
from pullbook.shop.signing_in import fresh_token, hash_token

CLOCK_DOUBT_S = 120.0  # a device's clock further off than this is told
_TOUCHED_AFTER = timedelta(minutes=1)
_TRAY, _DEVICE, _FILE = (cast("Table", kind.__table__) for kind in (TrayFile, Device, RawFile))
_DEVICE_OF = (
    select(Device.id, Device.name, Device.cell_id, Cell.name.label("cell_name"), Device.made_by, Device.last_used_at)
    .join(Cell, Cell.id == Device.cell_id)
    .where(Device.token_hash == bindparam("token_hash"), Device.revoked_at.is_(None))
)


@dataclass(frozen=True, slots=True)
class Sender:
    """A device that is known by its token."""

    id: str
    name: str
    cell_id: str
    cell_name: str
    made_by: str
    last_used_at: datetime | None


@dataclass(frozen=True, slots=True)
class Sent:
    """What a device says of a file beside its bytes."""

    kind: str
    taken_at: datetime
    file_name: str
    clock_ahead_s: float | None


def sender_of(session: Session, token: str) -> Sender | None:
    """The device that holds this token; None when nobody does any more."""
    row = session.execute(_DEVICE_OF, {"token_hash": hash_token(token)}).one_or_none()
    return None if row is None else Sender(*row)


def touch(session: Session, sender: Sender, now: datetime) -> None:
    """Remember that the device was heard of, to the minute: a look at the list then tells whether it lives."""
    if sender.last_used_at is None or now - sender.last_used_at >= _TOUCHED_AFTER:
        session.execute(update(_DEVICE).where(_DEVICE.c.id == sender.id).values(last_used_at=now))


def add_device(session: Session, now: datetime, staff_id: str, name: str, cell_id: str) -> tuple[str, str]:
    """A new device; gives its id and its token, which is told once and kept only as a hash."""
    token = fresh_token()
    row = Device(name=name, cell_id=cell_id, token_hash=hash_token(token), made_at=now, made_by=staff_id)
    session.add(row)
    session.flush()
    note(session, now, staff_id, "make", "device", row.id, None, {"name": name, "cell_id": cell_id})
    return row.id, token


def lay_in_tray(session: Session, now: datetime, sender: Sender, sent: Sent, read: FileRead) -> tuple[str, bool]:
    """Keep a file that names no ticket; gives its id in the tray and whether it is new there."""
    # two sendings of one file meet at the device's row: the second finds what the first kept
    session.execute(select(_DEVICE.c.id).where(_DEVICE.c.id == sender.id).with_for_update())
    there = in_tray(session, sender.cell_id, read.sha256)
    touch(session, sender, now)
    if there is not None:
        return there, False
    keep_file(session, now, read)
    tray_id = new_id()
    session.execute(
        insert(_TRAY),
        {
            "id": tray_id,
            "cell_id": sender.cell_id,
            "device_id": sender.id,
            "sha256": read.sha256,
            "file_name": clean_file_name(sent.file_name),
            "kind": sent.kind,
            "taken_at": sent.taken_at,
            "received_at": now,
            "clock_ahead_s": sent.clock_ahead_s,
        },
    )
    after = {"sha256": read.sha256, "device_id": sender.id, "cell_id": sender.cell_id}
    note(session, now, sender.made_by, "receive from a device", "tray_file", tray_id, None, after)
    enter(session, now, "tray file", tray_id)
    return tray_id, True


def in_tray(session: Session, cell_id: str, sha256: str) -> str | None:
    """The id under which these very bytes came in from this cell, if they did."""
    found: str | None = session.execute(
        select(_TRAY.c.id).where(_TRAY.c.cell_id == cell_id, _TRAY.c.sha256 == sha256)
    ).scalar_one_or_none()
    return found


def assign(session: Session, now: datetime, staff_id: str, tray_id: str, wanted: PullWanted) -> str:
    """File it as this pull; gives the pull's id. Clash when it has left the tray already."""
    row = _unsettled(session, tray_id)
    read = read_file(raw_bytes(session, row.sha256), row.sha256)
    pull_id, _ = file_pull(session, now, staff_id, wanted, read)
    row.pull_id, row.settled_at, row.settled_by = pull_id, now, staff_id
    row.version += 1
    session.flush()
    note(session, now, staff_id, "assign", "tray_file", row.id, {"pull_id": None}, {"pull_id": pull_id})
    return pull_id


def put_by(session: Session, now: datetime, staff_id: str, tray_id: str, reason: str) -> None:
    """Say that it belongs to no ticket, and why; it stays on record."""
    row = _unsettled(session, tray_id)
    row.put_by_reason, row.settled_at, row.settled_by = reason, now, staff_id
    row.version += 1
    session.flush()
    note(session, now, staff_id, "put by", "tray_file", row.id, {"put_by_reason": None}, {"put_by_reason": reason})


def _unsettled(session: Session, tray_id: str) -> TrayFile:
    row = session.get(TrayFile, tray_id, with_for_update=True)
    if row is None:
        raise NotFound(f"There is no file {tray_id} in the tray.")
    if row.settled_at is not None:
        what = f"it is pull {row.pull_id}" if row.pull_id else f"it was put by: {row.put_by_reason}"
        raise Clash(f"This file has left the tray already; {what}.", FieldProblem("id", tray_id, "a file in the tray"))
    return row
