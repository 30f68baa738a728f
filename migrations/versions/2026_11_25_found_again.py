"""What finds a pull again: search texts and index rows."""

revision = "2026_11_25_found_again"
down_revision = "2026_11_25_desk_and_checklist"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Filled by the part that needs it."""


def downgrade() -> None:
    raise NotImplementedError("restore a copy made before instead")
