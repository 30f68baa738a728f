"""Words that a results page shows, pinned when it is published; where the audit trail stands, in each day's head."""

import sqlalchemy as sa
from alembic import op

from pullbook.db.stored_types import JsonText, whole

revision = "2026_11_25_pinned_and_anchored"
down_revision = "2026_11_25_people_leave"
branch_labels = None
depends_on = None


def upgrade() -> None:
    # empty for what was published and signed before: that holds as it was
    op.add_column("results_link", sa.Column("told", JsonText(), nullable=True))
    op.add_column("signed_head", sa.Column("trail_entries", whole(), nullable=True))
    op.add_column("signed_head", sa.Column("trail_hash", sa.Text(), nullable=True))


def downgrade() -> None:
    raise NotImplementedError("restore a copy made before instead")
