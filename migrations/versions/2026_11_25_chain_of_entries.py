"""Every filed file, calibration, reading and publication as an entry of one chain, with its signed heads.

The tables start empty: the chain takes in what is there, in its order, with its very first entry.
"""

import sqlalchemy as sa
from alembic import op

from pullbook.db.guards import guard_statements
from pullbook.db.stored_types import OpaqueId, UtcTime, whole

revision = "2026_11_25_chain_of_entries"
down_revision = "2026_11_25_months_counted"
branch_labels = None
depends_on = None

GUARDED = ("chain_entry", "chain_key", "signed_head")


def upgrade() -> None:
    op.create_table(
        "chain_entry",
        sa.Column("number", whole(), nullable=False, autoincrement=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("record_id", sa.Text(), nullable=False),
        sa.Column("at", UtcTime(), nullable=False),
        sa.Column("entered_at", UtcTime(), nullable=False),
        sa.Column("staff_id", OpaqueId(), nullable=True),
        sa.Column("device_id", OpaqueId(), nullable=True),
        sa.Column("sha256", sa.Text(), nullable=True),
        sa.Column("size_bytes", whole(), nullable=True),
        sa.Column("row_digest", sa.Text(), nullable=False),
        sa.Column("words_digest", sa.Text(), nullable=True),
        sa.Column("previous", sa.Text(), nullable=False),
        sa.Column("head", sa.Text(), nullable=False),
        sa.CheckConstraint("length(kind) BETWEEN 1 AND 40", name="kind_length"),
        *(
            sa.CheckConstraint(f"length({column}) BETWEEN 64 AND 64", name=f"{column}_length")
            for column in ("head", "previous", "row_digest")
        ),
        sa.CheckConstraint("(sha256 IS NULL) = (size_bytes IS NULL)", name="size_with_its_file"),
        sa.CheckConstraint("number > 0", name="number_positive"),
        sa.PrimaryKeyConstraint("number", name="pk_chain_entry"),
        sa.UniqueConstraint("head", name="uq_chain_entry_head"),
        sa.UniqueConstraint("previous", name="uq_chain_entry_previous"),
        sa.UniqueConstraint("kind", "record_id", name="uq_chain_entry_kind_record_id"),
        sqlite_strict=True,
    )
    op.create_table(
        "chain_salt",
        sa.Column("number", whole(), nullable=False, autoincrement=False),
        sa.Column("salt", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["number"], ["chain_entry.number"], name="fk_chain_salt_number_chain_entry", ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("number", name="pk_chain_salt"),
        sqlite_strict=True,
    )
    op.create_table(
        "chain_key",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("public_key", sa.Text(), nullable=False),
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.CheckConstraint("length(id) BETWEEN 8 AND 8", name="id_length"),
        sa.CheckConstraint("length(public_key) BETWEEN 64 AND 64", name="public_key_length"),
        sa.PrimaryKeyConstraint("id", name="pk_chain_key"),
        sqlite_strict=True,
    )
    op.create_table(
        "signed_head",
        sa.Column("day", sa.Text(), nullable=False),
        sa.Column("entries", whole(), nullable=False),
        sa.Column("head", sa.Text(), nullable=False),
        sa.Column("signed_at", UtcTime(), nullable=False),
        sa.Column("key_id", sa.Text(), nullable=False),
        sa.Column("signature", sa.Text(), nullable=False),
        sa.CheckConstraint("length(day) BETWEEN 10 AND 10", name="day_length"),
        sa.CheckConstraint("length(head) BETWEEN 64 AND 64", name="head_length"),
        sa.CheckConstraint("entries >= 0", name="entries_not_negative"),
        sa.ForeignKeyConstraint(
            ["key_id"], ["chain_key.id"], name="fk_signed_head_key_id_chain_key", ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("day", name="pk_signed_head"),
        sqlite_strict=True,
    )
    for table in GUARDED:
        for statement in guard_statements(op.get_bind().dialect.name, table, None):
            op.execute(statement)


def downgrade() -> None:
    raise NotImplementedError("receipts would be about nothing; restore a copy made before instead")
