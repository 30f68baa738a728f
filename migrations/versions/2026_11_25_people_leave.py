"""People who want their data, or want it gone; how long things are kept."""

revision = "2026_11_25_people_leave"
down_revision = "2026_11_25_results_said_again"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Filled by the part that needs it."""


def downgrade() -> None:
    raise NotImplementedError("restore a copy made before instead")
