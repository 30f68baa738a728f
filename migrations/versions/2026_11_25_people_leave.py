"""People who want their data, or want it gone; how long things are kept; a logo and two more units."""

import sqlalchemy as sa
from alembic import op

from pullbook.db.guards import guard_statements
from pullbook.db.stored_types import OpaqueId, UtcTime, blob, whole

revision = "2026_11_25_people_leave"
down_revision = "2026_11_25_results_said_again"
branch_labels = None
depends_on = None

# `note` is no longer among them: it is a letter to a person, and goes when the person does
GUARDED_LINK = (
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
)


def upgrade() -> None:
    op.add_column("customer", sa.Column("erased_at", UtcTime(), nullable=True))
    op.add_column("shop", sa.Column("temperature_unit", sa.Text(), nullable=True))
    op.add_column("shop", sa.Column("speed_unit", sa.Text(), nullable=True))
    op.add_column("shop", sa.Column("keep_customers_months", whole(), nullable=True))
    op.add_column("shop", sa.Column("keep_photos_months", whole(), nullable=True))
    op.create_table(
        "erasure",
        sa.Column("id", OpaqueId(), nullable=False),
        sa.Column("customer_id", OpaqueId(), nullable=False),
        sa.Column("erased_at", UtcTime(), nullable=False),
        sa.Column("erased_by", OpaqueId(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["customer_id"], ["customer.id"], name="fk_erasure_customer_id_customer", ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(["erased_by"], ["staff.id"], name="fk_erasure_erased_by_staff", ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("id", name="pk_erasure"),
        sqlite_strict=True,
    )
    op.create_index("ix_erasure_customer_id", "erasure", ["customer_id"])
    op.create_table(
        "shop_logo",
        sa.Column("id", whole(), autoincrement=False, nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("width_px", whole(), nullable=False),
        sa.Column("height_px", whole(), nullable=False),
        sa.Column("png", blob(), nullable=False),
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.CheckConstraint("id = 1", name="only_one"),
        sa.CheckConstraint("length(sha256) BETWEEN 64 AND 64", name="sha256_length"),
        sa.CheckConstraint("width_px > 0", name="width_px_positive"),
        sa.CheckConstraint("height_px > 0", name="height_px_positive"),
        sa.PrimaryKeyConstraint("id", name="pk_shop_logo"),
        sqlite_strict=True,
    )
    dialect = op.get_bind().dialect.name
    for statement in guard_statements(dialect, "erasure", None):
        op.execute(statement)
    on = "" if dialect == "sqlite" else " ON results_link"
    for last in ("update", "delete", "insert" if dialect == "sqlite" else "truncate"):
        op.execute(f"DROP TRIGGER guard_results_link_{last}{on}")
    for statement in guard_statements(dialect, "results_link", GUARDED_LINK):
        op.execute(statement)


def downgrade() -> None:
    raise NotImplementedError("people who were erased would be asked for again; restore a copy instead")
