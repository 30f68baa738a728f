"""The chain of entries: one for each thing that is kept as it was written, each hashed over the one before it.

An entry says nothing of any person: ids are opaque, and what is written in words is there as a salted digest only. The
salts lie beside it in `ChainSalt`; a person is erased by dropping the salt, and the chain still holds.
"""

from datetime import datetime

from sqlalchemy import ForeignKey, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from pullbook.db.schema import STRICT, Table, length, not_negative, positive, rule
from pullbook.db.stored_types import OpaqueId


class ChainEntry(Table):
    """One thing kept. `at`: when it was received or made; `entered_at`: when the chain took it. They differ only for
    what was there before the chain was."""

    __tablename__ = "chain_entry"
    __table_args__ = (
        UniqueConstraint("head"),
        UniqueConstraint("previous"),  # no two entries follow the same one
        UniqueConstraint("kind", "record_id"),
        length("kind", 1, 40),
        length("head", 64, 64),
        length("previous", 64, 64),
        length("row_digest", 64, 64),
        rule("size_with_its_file", "(sha256 IS NULL) = (size_bytes IS NULL)"),
        *positive("number"),
        STRICT,
    )
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    kind: Mapped[str]
    record_id: Mapped[str]
    at: Mapped[datetime]
    entered_at: Mapped[datetime]
    staff_id: Mapped[str | None] = mapped_column(OpaqueId())
    device_id: Mapped[str | None] = mapped_column(OpaqueId())
    sha256: Mapped[str | None]  # of the file's own bytes
    size_bytes: Mapped[int | None]
    row_digest: Mapped[str]  # of everything about the record that never changes, but for its words
    words_digest: Mapped[str | None]  # of its words, salted
    previous: Mapped[str]
    head: Mapped[str]


class ChainSalt(Table):
    """What the digest of an entry's words was salted with. Dropping it erases what could be guessed at."""

    __tablename__ = "chain_salt"
    __table_args__ = (STRICT,)
    number: Mapped[int] = mapped_column(
        ForeignKey("chain_entry.number", ondelete="RESTRICT"), primary_key=True, autoincrement=False
    )
    salt: Mapped[str]


class ChainKey(Table):
    """A public key that heads and receipts are signed with. The private one is never in the database."""

    __tablename__ = "chain_key"
    __table_args__ = (length("id", 8, 8), length("public_key", 64, 64), STRICT)
    id: Mapped[str] = mapped_column(primary_key=True)
    public_key: Mapped[str]  # 32 bytes in hex
    made_at: Mapped[datetime]
    reason: Mapped[str] = mapped_column(default="")


class SignedHead(Table):
    """Where the chain stood on a day, signed: what stood before it cannot be written anew without the key."""

    __tablename__ = "signed_head"
    __table_args__ = (
        length("day", 10, 10),
        length("head", 64, 64),
        *not_negative("entries"),
        STRICT,
    )
    day: Mapped[str] = mapped_column(primary_key=True)  # by the shop's clock
    entries: Mapped[int]
    head: Mapped[str]
    signed_at: Mapped[datetime]
    key_id: Mapped[str] = mapped_column(Text(), ForeignKey("chain_key.id", ondelete="RESTRICT"))
    signature: Mapped[str]  # base64
    # where the audit trail stood, signed with it; None in heads from before that was
    trail_entries: Mapped[int | None]
    trail_hash: Mapped[str | None]
