"""Evidence beside the pulls: a second logger's file on its own clock, and what a calibration rests on."""

from datetime import datetime

from sqlalchemy import ForeignKey, Index, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from pullbook.db.evidence import STATES, Pull
from pullbook.db.schema import STRICT, Table, one_of, own_id, positive, reference, rule
from pullbook.db.stored_types import JsonText
from pullbook.db.tables import ChannelMap

EVIDENCE_KINDS = ("coast_down", "known_torque", "known_mass", "brake_weights")
RAW = "raw_file.sha256"


class JoinedFile(Table):
    """Another logger's file of the same run, under its own hash and on its own clock: `offset_s` None means matched."""

    __tablename__ = "joined_file"
    __table_args__ = (
        UniqueConstraint("pull_id", "sha256"),
        one_of("state", *STATES),
        rule("reason_when_unreadable", "(state = 'unreadable') = (unreadable_reason IS NOT NULL)"),
        rule("person_when_set_by_hand", "(offset_s IS NULL) = (offset_by IS NULL)"),
        rule("time_when_set_by_hand", "(offset_s IS NULL) = (offset_at IS NULL)"),
        rule("reason_when_left_out", "(left_out_at IS NULL) = (left_out_reason IS NULL)"),
        rule("person_when_left_out", "(left_out_at IS NULL) = (left_out_by IS NULL)"),
        *positive("version"),
        STRICT,
    )
    id: Mapped[str] = own_id()
    pull_id: Mapped[str] = reference("pull.id")
    sha256: Mapped[str] = mapped_column(ForeignKey(RAW, ondelete="RESTRICT"), index=True)
    file_name: Mapped[str]
    received_at: Mapped[datetime]
    made_by: Mapped[str] = reference("staff.id")
    # below: how the shop reads it, which may change and is audited
    channel_map_id: Mapped[str | None] = reference("channel_map.id")
    state: Mapped[str]
    unreadable_reason: Mapped[str | None]
    offset_s: Mapped[float | None]  # to be added to the file's own time to give the pull's
    offset_by: Mapped[str | None] = reference("staff.id")
    offset_at: Mapped[datetime | None]
    left_out_reason: Mapped[str | None]
    left_out_at: Mapped[datetime | None]
    left_out_by: Mapped[str | None] = reference("staff.id")
    version: Mapped[int] = mapped_column(default=1)
    pull: Mapped[Pull] = relationship(lazy="raise")
    channel_map: Mapped[ChannelMap | None] = relationship(lazy="raise")


class CalibrationEvidence(Table):
    """What somebody did to find out a cell's constants, as it was done. Never edited; another supersedes it."""

    __tablename__ = "calibration_evidence"
    __table_args__ = (
        one_of("kind", *EVIDENCE_KINDS),
        rule("file_with_its_name", "(sha256 IS NULL) = (file_name = '')"),
        Index(None, "cell_id", "taken_at"),
        STRICT,
    )
    id: Mapped[str] = own_id()
    cell_id: Mapped[str] = reference("cell.id")
    kind: Mapped[str]
    taken_at: Mapped[datetime]
    sha256: Mapped[str | None] = mapped_column(ForeignKey(RAW, ondelete="RESTRICT"), index=True)
    file_name: Mapped[str] = mapped_column(default="")
    channel_map_id: Mapped[str | None] = reference("channel_map.id")
    details: Mapped[dict[str, object]] = mapped_column(JsonText())  # what was hung on, added, or held, by its kind
    note: Mapped[str] = mapped_column(default="")
    made_at: Mapped[datetime]
    made_by: Mapped[str] = reference("staff.id")


class CalibrationBasis(Table):
    """Which evidence a calibration was made from. Append-only."""

    __tablename__ = "calibration_basis"
    __table_args__ = (STRICT,)
    calibration_id: Mapped[str] = reference("calibration.id", primary_key=True)
    evidence_id: Mapped[str] = reference("calibration_evidence.id", primary_key=True)
