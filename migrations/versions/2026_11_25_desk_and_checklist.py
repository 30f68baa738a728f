"""What the desk writes down when a car arrives, the waiver's versions, the checklist and who signed it."""

revision = "2026_11_25_desk_and_checklist"
down_revision = "2026_11_25_what_it_costs"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Filled by the part that needs it."""


def downgrade() -> None:
    raise NotImplementedError("restore a copy made before instead")
