"""The index of pulls that are set aside holds what they are narrowed down by, so that few rows are read for it."""

import sqlalchemy as sa
from alembic import op

revision = "2026_11_25_aside_narrowed"
down_revision = "2026_11_25_letters_unadorned"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.drop_index("ix_found_pull_set_aside", "found_pull")
    held = ["taken_at", "pull_id", "model_id", "model_year", "cell_id", "kind", "power_w", "torque_nm"]
    aside = {"sqlite_where": sa.text("set_aside = 1"), "postgresql_where": sa.text("set_aside")}
    op.create_index("ix_found_pull_set_aside", "found_pull", held, **aside)


def downgrade() -> None:
    raise NotImplementedError("restore a copy made before instead")
