"""Attesting: receipts and the day's head of the chain, signed with a key that is never in the database.

What is signed is plain text, a line for each thing, and the signature is Ed25519 (RFC 8032) over those very bytes. As
a file it is a signed note (C2SP signed-note): the text, an empty line, and `— pullbook BASE64`, where the base64 holds
four bytes of key id and the signature. The key id is the first four bytes of SHA-256 over `pullbook`, a line feed, the
byte 1 and the public key.
"""

import base64
import hashlib
import os
import secrets
from collections.abc import Mapping
from dataclasses import field
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    load_pem_private_key,
)
from sqlalchemy import bindparam, insert, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from pullbook.db.chain import ChainEntry, ChainKey, SignedHead
from pullbook.db.connect import Database
from pullbook.db.tables import Shop
from pullbook.errors import NotFound, NotReady
from pullbook.late_methods import dataclass
from pullbook.shop.auditing import last_of_trail
from pullbook.shop.chaining import enter, take_numbers
from pullbook.shop.sealing import FIRST_PREVIOUS, plain

NAME = "pullbook"  # of the key, in notes
_KEYS_ENTERED = select(ChainEntry.record_id).where(ChainEntry.kind == "key").order_by(ChainEntry.number.desc())
_HEADS_ENTERED = select(ChainEntry.record_id).where(ChainEntry.kind == "signed head")
_ENTRY = select(ChainEntry.__table__).where(
    ChainEntry.kind == bindparam("kind"), ChainEntry.record_id == bindparam("record_id")
)
_DAY_SIGNED = select(SignedHead.day).where(SignedHead.day == bindparam("day"))
_LAST_ENTRY = select(ChainEntry.number, ChainEntry.head).order_by(ChainEntry.number.desc()).limit(1)


@dataclass(frozen=True, slots=True)
class Signer:
    """The shop's private key, and its public one in hex."""

    private: Ed25519PrivateKey = field(repr=False)
    public_key: str
    key_id: str

    def sign(self, text: str) -> str:
        """The signature over the text's bytes, in base64."""
        return base64.b64encode(self.private.sign(text.encode())).decode()


@dataclass(frozen=True, slots=True)
class Receipt:
    """What the shop says it received. `key_id` and `signature` are None where the key is not there to sign with."""

    entry_number: int
    received_at: datetime
    size_bytes: int
    sha256: str
    head: str
    key_id: str | None
    signature: str | None

    @property
    def text(self) -> str:
        """What its signature is over."""
        return receipt_text(self.entry_number, self.received_at, self.size_bytes, self.sha256, self.head)

    @property
    def note(self) -> str:
        """As a file to be kept."""
        return note_of(self.text, self.key_id, self.signature)


def key_id_of(public_key: str) -> str:
    """Eight hexadecimal digits that name a public key."""
    return hashlib.sha256(NAME.encode() + b"\n\x01" + bytes.fromhex(public_key)).hexdigest()[:8]


def public_line(public_key: str) -> str:
    """A public key as a line of text, as signed notes have it: name, id, and base64 of the byte 1 and the key."""
    told = base64.b64encode(b"\x01" + bytes.fromhex(public_key)).decode()
    return f"{NAME}+{key_id_of(public_key)}+{told}"


def is_signed_by(public_key: str, text: str, signature: str) -> bool:
    """Whether the signature is this key's over this text."""
    try:
        key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(public_key))
        key.verify(base64.b64decode(signature, validate=True), text.encode())
    except (InvalidSignature, ValueError):
        return False
    return True


def note_of(text: str, key_id: str | None, signature: str | None) -> str:
    """The text with its signature beneath, as a signed note."""
    if key_id is None or signature is None:
        return text
    told = base64.b64encode(bytes.fromhex(key_id) + base64.b64decode(signature)).decode()
    return f"{text}\n— {NAME} {told}\n"


def receipt_text(entry_number: int, received_at: datetime, size_bytes: int, sha256: str, head: str) -> str:
    """What a receipt says, and what its signature is over."""
    lines = (f"entry {entry_number}", f"received {plain(received_at)}", f"size {size_bytes}", f"sha256 {sha256}")
    return "\n".join(("pullbook receipt 1", *lines, f"head {head}", ""))


def head_text(
    day: str, entries: int, head: str, signed_at: datetime, trail: tuple[int | None, str | None] = (None, None)
) -> str:
    """What a day's head says, and what its signature is over.

    `trail`: how many entries the audit trail had, and the hash of the last. A head from before that was signed has
    none, and says so by its first line.
    """
    told = () if trail[1] is None else (f"trail {trail[0]} {trail[1]}",)
    lines = (f"day {day}", f"entries {entries}", f"head {head}", *told, f"signed {plain(signed_at)}", "")
    return "\n".join((f"pullbook head {2 if told else 1}", *lines))


def text_of_head(row: Any) -> str:
    """What the signature of a row of `signed_head` is over."""
    return head_text(row.day, row.entries, row.head, row.signed_at, (row.trail_entries, row.trail_hash))


@lru_cache(maxsize=8)
def _read_key(path: str, _changed_ns: int) -> Signer:
    try:
        private = load_pem_private_key(Path(path).read_bytes(), password=None)
    except (ValueError, TypeError) as error:
        raise NotReady(f"The signing key in {path} cannot be read; put the shop's own file back.") from error
    if not isinstance(private, Ed25519PrivateKey):
        raise NotReady(f"The signing key in {path} is no Ed25519 key; put the shop's own file back.")
    public_key = private.public_key().public_bytes_raw().hex()
    return Signer(private, public_key, key_id_of(public_key))


def read_key(path: Path) -> Signer | None:
    """The key in a file; None where there is none. NotReady for a file that holds something else."""
    try:
        return _read_key(str(path), path.stat().st_mtime_ns)
    except FileNotFoundError:
        return None
    except PermissionError as error:
        raise NotReady(f"The signing key in {path} may not be read by the service.") from error


def make_key(path: Path) -> None:
    """A new key, in a file that nobody else may read; never over one that is there."""
    told = Ed25519PrivateKey.generate().private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    path.parent.mkdir(parents=True, exist_ok=True)
    half = path.with_name(f"{path.name}.{secrets.token_hex(8)}.half")
    with open(os.open(half, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(told)
        file.flush()
        os.fsync(file.fileno())
    try:
        os.link(half, path)  # whole or not at all, and never over one that another process made meanwhile
    except FileExistsError:
        pass
    finally:
        half.unlink()


def signer_of(database: Database, path: Path, now: datetime) -> Signer | None:
    """The shop's key. It is made, and entered in the chain, where the shop never had one.

    None where the shop had a key and its file is gone, and NotReady where another lies there: nothing is signed until
    the file is back, or until somebody says by a command that it is lost. A key that came by itself would hide that.
    """
    with database.reading() as session:
        known = key_in_force(session)
    signer = read_key(path)
    if signer is None and known is None:
        make_key(path)
        signer = read_key(path)
    if signer is not None and known is None:
        enter_key(database, signer, now, "")
    elif signer is not None and signer.key_id != known:
        raise NotReady(
            f"The key in {path} is {signer.key_id}, and not {known}, which the chain names as the shop's: put that "
            "one back; `pullbook check` says what else would do."
        )
    return signer


def key_in_force(session: Session) -> str | None:
    """The id of the key that the chain names as the shop's; None where it never had one."""
    return session.execute(_KEYS_ENTERED.limit(1)).scalar()


def trusted_signer(database: Database, path: Path, now: datetime) -> Signer | None:
    """The shop's key where it can be signed with just now; None where not, whatever the reason is."""
    try:
        return signer_of(database, path, now)
    except (NotReady, OSError):
        return None


def enter_key(database: Database, signer: Signer, now: datetime, reason: str) -> None:
    """Keep a public key, and give it its entry; the ones before it stay."""
    row = {"id": signer.key_id, "public_key": signer.public_key, "made_at": now, "reason": reason}
    try:
        with database.writing() as session:
            if session.get(ChainKey, signer.key_id) is None:
                session.execute(insert(ChainKey), row)
                enter(session, now, "key", signer.key_id)
    except IntegrityError:
        return  # another process entered the same key meanwhile


def sign_today(database: Database, signer: Signer | None, now: datetime) -> None:
    """Sign where the chain stands, once on each day by the shop's clock."""
    with database.reading() as session:
        day = _today(session, now)
        is_signed = session.execute(_DAY_SIGNED, {"day": day}).first() is not None
    if signer is None or is_signed:  # a day signed ahead by a wrong clock keeps no other day from being signed
        return
    with database.writing() as session:
        entries = take_numbers(session, 0)  # whoever else signs today waits here
        if session.get(SignedHead, day) is not None or key_in_force(session) != signer.key_id:
            return  # somebody signed meanwhile, or another key took this one's place
        last = select(ChainEntry.head).where(ChainEntry.number == entries)
        head = session.execute(last).scalar_one() if entries else FIRST_PREVIOUS
        trail = last_of_trail(session)
        signature = signer.sign(head_text(day, entries, head, now, trail))
        told = {"day": day, "entries": entries, "head": head, "signed_at": now, "key_id": signer.key_id}
        _enter_older(session, now)
        session.execute(
            insert(SignedHead), {**told, "signature": signature, "trail_entries": trail[0], "trail_hash": trail[1]}
        )
        enter(session, now, "signed head", day)


def _enter_older(session: Session, now: datetime) -> None:
    """The first time that a head has an entry of its own, those that were signed before get theirs."""
    if session.execute(_HEADS_ENTERED.limit(1)).first() is None:
        for day in session.execute(select(SignedHead.day).order_by(SignedHead.day)).scalars():
            enter(session, now, "signed head", day)


def head_note(session: Session, signer: Signer | None, now: datetime) -> tuple[int, str]:
    """Where the chain stands as this session sees it: how many entries, and the head as a note to be kept elsewhere.

    Unsigned where the key is not there.
    """
    row = session.execute(_LAST_ENTRY).one_or_none()
    entries, head = (row.number, row.head) if row else (0, FIRST_PREVIOUS)
    told = head_text(_today(session, now), entries, head, now, last_of_trail(session))
    return entries, note_of(told, signer.key_id if signer else None, signer.sign(told) if signer else None)


def _today(session: Session, now: datetime) -> str:
    zone = ZoneInfo(session.execute(select(Shop.time_zone)).scalar_one_or_none() or "UTC")
    return now.astimezone(zone).date().isoformat()


def receipt_for(session: Session, signer: Signer | None, kind: str, record_id: str) -> Receipt:
    """The receipt for a filed file: the same one whenever it is asked for, as long as the key is the same."""
    row = session.execute(_ENTRY, {"kind": kind, "record_id": record_id}).mappings().one_or_none()
    if row is None:
        raise NotFound(f"There is no entry of {kind} {record_id} in the chain.")
    told = _told(row)
    text = receipt_text(**told)
    return Receipt(**told, key_id=signer.key_id if signer else None, signature=signer.sign(text) if signer else None)


def _told(row: Mapping[Any, Any]) -> dict[str, Any]:
    names = {"entry_number": "number", "received_at": "at", "size_bytes": "size_bytes", "sha256": "sha256"}
    return {**{said: row[name] for said, name in names.items()}, "head": row["head"]}


def attest(database: Database, path: Path, now: datetime) -> Signer | None:
    """What receipts are signed with just now, the day's head signed with it.

    A key that is not there, or cannot be read, is no reason not to file: receipts then go unsigned, and the command
    `check` says why.
    """
    signer = trusted_signer(database, path, now)
    sign_today(database, signer, now)
    return signer
