"""The tables of evidence: raw files, pulls, results links and the audit trail.

`GUARDED` says which columns nothing may change once written; the migrations make triggers of it on both engines.
"""

from datetime import datetime

from sqlalchemy import ForeignKey, ForeignKeyConstraint, Index, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, foreign, mapped_column, relationship

from pullbook.db.schema import STRICT, Table, length, not_negative, one_of, own_id, positive, reference, rule
from pullbook.db.stored_types import JsonText, OpaqueId, blob
from pullbook.db.tables import Cell, ChannelMap, Setup, Staff, Ticket

KINDS = ("sweep", "hold", "coast_down", "part_throttle")
STATES = ("readable", "unreadable")


class RawFile(Table):
    """The very bytes that were sent, compressed, under their own hash. Written once; nothing changes or deletes it."""

    __tablename__ = "raw_file"
    __table_args__ = (
        length("sha256", 64, 64),
        *positive("size_bytes"),
        STRICT,
    )
    sha256: Mapped[str] = mapped_column(primary_key=True)
    size_bytes: Mapped[int]
    zstd: Mapped[bytes] = mapped_column(blob())
    received_at: Mapped[datetime]


class ColumnBlock(Table):
    """A raw file's columns as 64-bit floats: the read path. Rebuildable from the raw file by the same reader."""

    __tablename__ = "column_block"
    __table_args__ = (*not_negative("row_count"), STRICT)
    sha256: Mapped[str] = mapped_column(ForeignKey("raw_file.sha256", ondelete="RESTRICT"), primary_key=True)
    reader: Mapped[str]  # which reader made it, with its version
    headers: Mapped[list[dict[str, str]]] = mapped_column(JsonText())  # [{"header", "unit"}] in file order
    # what the file says of itself: encoding, comments, repairs
    found: Mapped[dict[str, str]] = mapped_column(JsonText())
    row_count: Mapped[int]
    block: Mapped[bytes] = mapped_column(blob())


class Pull(Table):
    """One run of a car on the rollers, as filed. What was measured is never edited; it may be set aside."""

    __tablename__ = "pull"
    __table_args__ = (
        UniqueConstraint("ticket_id", "sha256"),
        one_of("kind", *KINDS),
        one_of("state", *STATES),
        # the setup is one of this very ticket's
        ForeignKeyConstraint(["setup_id", "ticket_id"], ["setup.id", "setup.ticket_id"], ondelete="RESTRICT"),
        rule("reason_when_unreadable", "(state = 'unreadable') = (unreadable_reason IS NOT NULL)"),
        rule("reason_when_set_aside", "(set_aside_at IS NULL) = (set_aside_reason IS NULL)"),
        rule("person_when_set_aside", "(set_aside_at IS NULL) = (set_aside_by IS NULL)"),
        *positive("version"),
        Index(None, "setup_id", "taken_at"),
        Index(None, "taken_at", "id"),
        Index(None, "cell_id", "taken_at"),
        STRICT,
    )
    id: Mapped[str] = own_id()
    ticket_id: Mapped[str] = reference("ticket.id")
    setup_id: Mapped[str] = mapped_column(OpaqueId())
    cell_id: Mapped[str] = reference("cell.id")
    sha256: Mapped[str] = mapped_column(ForeignKey("raw_file.sha256", ondelete="RESTRICT"), index=True)
    kind: Mapped[str]
    taken_at: Mapped[datetime]
    received_at: Mapped[datetime]
    file_name: Mapped[str]
    operator_id: Mapped[str] = reference("staff.id")
    # below: how the shop reads it, which may change and is audited
    channel_map_id: Mapped[str | None] = reference("channel_map.id")
    state: Mapped[str]
    unreadable_reason: Mapped[str | None]
    set_aside_reason: Mapped[str | None]
    set_aside_at: Mapped[datetime | None]
    set_aside_by: Mapped[str | None] = reference("staff.id")
    notes: Mapped[str] = mapped_column(default="")
    version: Mapped[int] = mapped_column(default=1)
    ticket: Mapped[Ticket] = relationship(lazy="raise")
    setup: Mapped[Setup] = relationship(lazy="raise", primaryjoin=Setup.id == foreign(setup_id))
    cell: Mapped[Cell] = relationship(lazy="raise")
    channel_map: Mapped[ChannelMap | None] = relationship(lazy="raise")
    operator: Mapped[Staff] = relationship(lazy="raise", foreign_keys=[operator_id])


class ResultsLink(Table):
    """A customer's link to what was published; the token itself is not stored, only its hash."""

    __tablename__ = "results_link"
    __table_args__ = (
        UniqueConstraint("token_hash"),
        Index(None, "ticket_id"),
        Index(None, "replaces_id"),
        length("token_hash", 64, 64),
        rule("ends_after_it_was_made", "ends_at > made_at"),
        *not_negative("opened_count"),
        *positive("version"),
        STRICT,
    )
    id: Mapped[str] = own_id()
    ticket_id: Mapped[str] = reference("ticket.id")
    token_hash: Mapped[str]
    pull_ids: Mapped[list[str]] = mapped_column(JsonText())
    standard: Mapped[str]
    window_s: Mapped[float | None]
    band_low_rpm: Mapped[float | None]  # over which setups are judged; None: the middle of what they share
    band_high_rpm: Mapped[float | None]
    # {"power": "hp", "torque": "lbf·ft", "pressure": "kPa"}; None: as the shop shows them
    units: Mapped[dict[str, str] | None] = mapped_column(JsonText())
    language: Mapped[str] = mapped_column(Text(), default="en", server_default="en")
    note: Mapped[str] = mapped_column(Text(), default="")
    digest: Mapped[str]  # of inputs, settings, method version and headline, at publishing
    # what that digest is of, to say later what changed
    published: Mapped[dict[str, object]] = mapped_column(JsonText())
    made_at: Mapped[datetime]
    made_by: Mapped[str] = reference("staff.id")
    ends_at: Mapped[datetime]
    revoked_at: Mapped[datetime | None]
    pin_hash: Mapped[str | None]  # asked for before anything is shown; as slow to try as a password
    opened_count: Mapped[int] = mapped_column(default=0)
    last_opened_on: Mapped[str | None]  # a day, no finer
    version: Mapped[int] = mapped_column(default=1)
    # the link whose results these are said instead of; no row of this table ever goes, so nothing has to hold it there
    replaces_id: Mapped[str | None] = mapped_column(OpaqueId())
    # the car, what was asked and the setups in words, as they read then; None: from before they were pinned, or erased
    told: Mapped[dict[str, object] | None] = mapped_column(JsonText())
    ticket: Mapped[Ticket] = relationship(lazy="raise")


class ResultsLinkDay(Table):
    """How often a link was looked at on a day: no hour, no address, nothing about who."""

    __tablename__ = "results_link_day"
    __table_args__ = (length("day", 10, 10), *positive("times"), STRICT)
    link_id: Mapped[str] = reference("results_link.id", primary_key=True)
    day: Mapped[str] = mapped_column(primary_key=True)  # of UTC, 2026-03-10
    times: Mapped[int]


class AuditEntry(Table):
    """Who did what to which record, each entry hashed over the one before it. Holds no personal data of its own."""

    __tablename__ = "audit_entry"
    __table_args__ = (
        UniqueConstraint("hash"),
        UniqueConstraint("previous_hash"),  # no two entries follow the same one
        *(Index(None, first, "number") for first in ("record", "record_id", "staff_id")),
        length("hash", 64, 64),
        *positive("number"),
        STRICT,
    )
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    at: Mapped[datetime]
    staff_id: Mapped[str | None] = mapped_column(OpaqueId())
    action: Mapped[str]
    record: Mapped[str]
    record_id: Mapped[str]
    detail_digest: Mapped[str]
    previous_hash: Mapped[str]
    hash: Mapped[str]


class AuditDetail(Table):
    """Before and after, apart from the chain and salted: a person can be erased and the chain still verifies."""

    __tablename__ = "audit_detail"
    __table_args__ = (STRICT,)
    number: Mapped[int] = mapped_column(
        ForeignKey("audit_entry.number", ondelete="RESTRICT"), primary_key=True, autoincrement=False
    )
    salt: Mapped[str]
    before: Mapped[dict[str, object] | None] = mapped_column(JsonText())
    after: Mapped[dict[str, object] | None] = mapped_column(JsonText())


GUARDED: dict[str, tuple[str, ...] | None] = {
    # table → the columns that never change; None: the whole row. No row of any of them is ever deleted or replaced.
    "raw_file": None,
    "column_block": None,
    "audit_entry": None,
    "chain_entry": None,
    "chain_key": None,
    "signed_head": None,
    "ticket_step": None,
    "waiver_text": None,
    "safety_checklist": None,
    "safety_signing": None,
    "calibration": None,
    "weather_reading": None,
    "erasure": None,
    "channel_map": None,
    "calibration_evidence": None,
    "calibration_basis": None,
    "joined_file": ("id", "pull_id", "sha256", "file_name", "received_at", "made_by"),
    "tray_file": ("id", "cell_id", "device_id", "sha256", "file_name", "taken_at", "received_at", "clock_ahead_s"),
    "pull": (
        "id",
        "ticket_id",
        "cell_id",
        "sha256",
        "kind",
        "taken_at",
        "received_at",
        "operator_id",
        "file_name",
    ),
    "results_link": (
        "id",
        "ticket_id",
        "token_hash",
        "pull_ids",
        "standard",
        "window_s",
        "band_low_rpm",
        "band_high_rpm",
        "units",
        "language",
        "digest",
        "published",
        "made_at",
        "made_by",
        "replaces_id",
    ),
}
