"""Results that replace earlier ones."""

revision = "2026_11_25_results_said_again"
down_revision = "2026_11_25_links_followed"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Filled by the part that needs it."""


def downgrade() -> None:
    raise NotImplementedError("restore a copy made before instead")
