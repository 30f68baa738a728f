"""The cells' own computers with a token each, and the tray for files that came without a ticket."""

import sqlalchemy as sa
from alembic import op

from pullbook.db.guards import guard_statements
from pullbook.db.stored_types import OpaqueId, UtcTime, real, whole

revision = "2026_11_25_senders_and_tray"
down_revision = "2026_11_25_numbers_that_hold_up"
branch_labels = None
depends_on = None

GUARDED: dict[str, tuple[str, ...] | None] = {
    "tray_file": ("id", "cell_id", "device_id", "sha256", "file_name", "taken_at", "received_at", "clock_ahead_s"),
}


def upgrade() -> None:
    op.create_table(
        "device",
        sa.Column("id", OpaqueId(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("cell_id", OpaqueId(), nullable=False),
        sa.Column("token_hash", sa.Text(), nullable=False),
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.Column("made_by", OpaqueId(), nullable=False),
        sa.Column("last_used_at", UtcTime(), nullable=True),
        sa.Column("revoked_at", UtcTime(), nullable=True),
        sa.CheckConstraint("length(name) BETWEEN 1 AND 120", name="name_length"),
        sa.CheckConstraint("length(token_hash) BETWEEN 64 AND 64", name="token_hash_length"),
        _refers("device", "cell_id", "cell.id"),
        _refers("device", "made_by", "staff.id"),
        sa.PrimaryKeyConstraint("id", name="pk_device"),
        sa.UniqueConstraint("name", name="uq_device_name"),
        sa.UniqueConstraint("token_hash", name="uq_device_token_hash"),
        sqlite_strict=True,
    )
    op.create_table(
        "tray_file",
        sa.Column("id", OpaqueId(), nullable=False),
        sa.Column("cell_id", OpaqueId(), nullable=False),
        sa.Column("device_id", OpaqueId(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("file_name", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("taken_at", UtcTime(), nullable=False),
        sa.Column("received_at", UtcTime(), nullable=False),
        sa.Column("clock_ahead_s", real(), nullable=True),
        sa.Column("pull_id", OpaqueId(), nullable=True),
        sa.Column("put_by_reason", sa.Text(), nullable=True),
        sa.Column("settled_at", UtcTime(), nullable=True),
        sa.Column("settled_by", OpaqueId(), nullable=True),
        sa.Column("version", whole(), nullable=False),
        sa.CheckConstraint("kind IN ('sweep', 'hold', 'coast_down', 'part_throttle')", name="kind_known"),
        sa.CheckConstraint("(settled_at IS NULL) = (settled_by IS NULL)", name="person_when_settled"),
        sa.CheckConstraint(
            "(settled_at IS NOT NULL) = (pull_id IS NOT NULL OR put_by_reason IS NOT NULL)",
            name="pull_or_reason_when_settled",
        ),
        sa.CheckConstraint("pull_id IS NULL OR put_by_reason IS NULL", name="pull_or_reason_not_both"),
        sa.CheckConstraint("version > 0", name="version_positive"),
        _refers("tray_file", "cell_id", "cell.id"),
        _refers("tray_file", "device_id", "device.id"),
        _refers("tray_file", "sha256", "raw_file.sha256"),
        _refers("tray_file", "pull_id", "pull.id"),
        _refers("tray_file", "settled_by", "staff.id"),
        sa.PrimaryKeyConstraint("id", name="pk_tray_file"),
        sa.UniqueConstraint("cell_id", "sha256", name="uq_tray_file_cell_id_sha256"),
        sqlite_strict=True,
    )
    for column in ("sha256", "pull_id"):
        op.create_index(f"ix_tray_file_{column}", "tray_file", [column])
    op.create_index("ix_tray_file_settled_at_taken_at", "tray_file", ["settled_at", "taken_at"])
    for table, columns in GUARDED.items():
        for statement in guard_statements(op.get_bind().dialect.name, table, columns):
            op.execute(statement)


def downgrade() -> None:
    raise NotImplementedError("evidence would be lost; restore a copy instead")


def _refers(table: str, column: str, to: str) -> sa.ForeignKeyConstraint:
    target, _, _ = to.partition(".")
    return sa.ForeignKeyConstraint([column], [to], name=f"fk_{table}_{column}_{target}", ondelete="RESTRICT")
