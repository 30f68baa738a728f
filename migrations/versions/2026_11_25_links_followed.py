"""Results links say band, units and language, may want a code, and tell by the day how often they were looked at."""

import sqlalchemy as sa
from alembic import op

from pullbook.db.guards import guard_statements
from pullbook.db.stored_types import JsonText, OpaqueId, real, whole

revision = "2026_11_25_links_followed"
down_revision = "2026_11_25_chain_of_entries"
branch_labels = None
depends_on = None

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
    "note",
    "digest",
    "published",
    "made_at",
    "made_by",
)


def upgrade() -> None:
    op.add_column("results_link", sa.Column("band_low_rpm", real(), nullable=True))
    op.add_column("results_link", sa.Column("band_high_rpm", real(), nullable=True))
    op.add_column("results_link", sa.Column("units", JsonText(), nullable=True))
    op.add_column("results_link", sa.Column("language", sa.Text(), nullable=False, server_default="en"))
    op.add_column("results_link", sa.Column("pin_hash", sa.Text(), nullable=True))
    _guard_what_was_published()
    op.create_table(
        "results_link_day",
        sa.Column("link_id", OpaqueId(), nullable=False),
        sa.Column("day", sa.Text(), nullable=False),
        sa.Column("times", whole(), nullable=False),
        sa.CheckConstraint("length(day) BETWEEN 10 AND 10", name="day_length"),
        sa.CheckConstraint("times > 0", name="times_positive"),
        sa.ForeignKeyConstraint(
            ["link_id"], ["results_link.id"], name="fk_results_link_day_link_id_results_link", ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("link_id", "day", name="pk_results_link_day"),
        sqlite_strict=True,
    )


def downgrade() -> None:
    raise NotImplementedError("what was published would be shown in another band; restore a copy instead")


def _guard_what_was_published() -> None:
    """The guards name their columns, so they are set again with the new ones among them."""
    dialect = op.get_bind().dialect.name
    on = "" if dialect == "sqlite" else " ON results_link"
    for last in ("update", "delete", "insert" if dialect == "sqlite" else "truncate"):
        op.execute(f"DROP TRIGGER guard_results_link_{last}{on}")
    for statement in guard_statements(dialect, "results_link", GUARDED_LINK):
        op.execute(statement)
