"""Results links with a code of their own, and what came of them."""

revision = "2026_11_25_links_followed"
down_revision = "2026_11_25_chain_of_entries"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Filled by the part that needs it."""


def downgrade() -> None:
    raise NotImplementedError("restore a copy made before instead")
