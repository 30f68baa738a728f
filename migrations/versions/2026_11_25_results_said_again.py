"""Results that replace earlier ones."""

import sqlalchemy as sa
from alembic import op

from pullbook.db.guards import guard_statements
from pullbook.db.stored_types import OpaqueId

revision = "2026_11_25_results_said_again"
down_revision = "2026_11_25_links_followed"
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
    "replaces_id",
)


def upgrade() -> None:
    op.add_column("results_link", sa.Column("replaces_id", OpaqueId(), nullable=True))
    op.create_index("ix_results_link_replaces_id", "results_link", ["replaces_id"])
    _guard_what_was_published()


def downgrade() -> None:
    raise NotImplementedError("which results replace which would be forgotten; restore a copy instead")


def _guard_what_was_published() -> None:
    """The guards name their columns, so they are set again with the new one among them."""
    dialect = op.get_bind().dialect.name
    on = "" if dialect == "sqlite" else " ON results_link"
    for last in ("update", "delete", "insert" if dialect == "sqlite" else "truncate"):
        op.execute(f"DROP TRIGGER guard_results_link_{last}{on}")
    for statement in guard_statements(dialect, "results_link", GUARDED_LINK):
        op.execute(statement)
