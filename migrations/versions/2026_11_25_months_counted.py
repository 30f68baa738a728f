"""What a month came to, counted as it happens."""

revision = "2026_11_25_months_counted"
down_revision = "2026_11_25_found_again"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Filled by the part that needs it."""


def downgrade() -> None:
    raise NotImplementedError("restore a copy made before instead")
