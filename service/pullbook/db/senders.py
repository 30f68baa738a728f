"""The cells' own computers, and the tray where their files wait for a ticket."""

from datetime import datetime

from sqlalchemy import ForeignKey, Index, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from pullbook.db.evidence import KINDS
from pullbook.db.schema import STRICT, Table, length, one_of, own_id, positive, reference, rule
from pullbook.db.tables import Cell


class Device(Table):
    """A cell's computer that may send pull files and weather by a token of its own, and may do nothing else."""

    __tablename__ = "device"
    __table_args__ = (
        UniqueConstraint("name"),
        UniqueConstraint("token_hash"),
        length("name", 1, 120),
        length("token_hash", 64, 64),
        STRICT,
    )
    id: Mapped[str] = own_id()
    name: Mapped[str]
    cell_id: Mapped[str] = reference("cell.id")
    token_hash: Mapped[str]
    made_at: Mapped[datetime]
    made_by: Mapped[str] = reference("staff.id")  # who vouches for what it sends
    last_used_at: Mapped[datetime | None]  # to the minute, no finer
    revoked_at: Mapped[datetime | None]


class TrayFile(Table):
    """A file that came without a ticket. Its bytes are kept like any other's; a person says which pull it is."""

    __tablename__ = "tray_file"
    __table_args__ = (
        UniqueConstraint("cell_id", "sha256"),
        one_of("kind", *KINDS),
        rule("person_when_settled", "(settled_at IS NULL) = (settled_by IS NULL)"),
        rule(
            "pull_or_reason_when_settled",
            "(settled_at IS NOT NULL) = (pull_id IS NOT NULL OR put_by_reason IS NOT NULL)",
        ),
        rule("pull_or_reason_not_both", "pull_id IS NULL OR put_by_reason IS NULL"),
        *positive("version"),
        Index(None, "settled_at", "taken_at"),
        Index(None, "taken_at", "id"),
        STRICT,
    )
    id: Mapped[str] = own_id()
    cell_id: Mapped[str] = reference("cell.id")
    device_id: Mapped[str] = reference("device.id")
    sha256: Mapped[str] = mapped_column(ForeignKey("raw_file.sha256", ondelete="RESTRICT"), index=True)
    file_name: Mapped[str]
    kind: Mapped[str]
    taken_at: Mapped[datetime]  # by the device's clock, put right where that is off by more than two minutes
    received_at: Mapped[datetime]
    clock_ahead_s: Mapped[float | None]  # the device's clock against the server's, as it was sent
    # below: what became of it
    pull_id: Mapped[str | None] = reference("pull.id", index=True)
    put_by_reason: Mapped[str | None]  # why it belongs to no ticket
    settled_at: Mapped[datetime | None]
    settled_by: Mapped[str | None] = reference("staff.id")
    version: Mapped[int] = mapped_column(default=1)
    cell: Mapped[Cell] = relationship(lazy="raise")
    device: Mapped[Device] = relationship(lazy="raise")
