"""Every filed pull as an entry of a chain, with its signed heads."""

revision = "2026_11_25_chain_of_entries"
down_revision = "2026_11_25_months_counted"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Filled by the part that needs it."""


def downgrade() -> None:
    raise NotImplementedError("restore a copy made before instead")
