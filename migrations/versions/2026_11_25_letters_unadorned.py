"""Letters such as ł and ø are looked for as l and o; and indexes for who has not been here for long."""

import sqlalchemy as sa
from alembic import op

revision = "2026_11_25_letters_unadorned"
down_revision = "2026_11_25_pinned_and_anchored"
branch_labels = None
depends_on = None

LETTERS = {
    "ł": "l", "ø": "o", "đ": "d", "ð": "d", "ħ": "h", "ı": "i", "ŋ": "n", "ŧ": "t", "ƶ": "z",
    "æ": "ae", "œ": "oe", "þ": "th", "ĳ": "ij",
}  # fmt: skip


def upgrade() -> None:
    """Customers and cars are looked for in the new letters at once; texts of tickets follow with the next change."""
    op.drop_index("ix_ticket_customer_id", "ticket")
    op.create_index("ix_ticket_customer_id_booked_from_made_at", "ticket", ["customer_id", "booked_from", "made_at"])
    op.create_index("ix_ticket_photo_made_at", "ticket_photo", ["made_at"])
    late = f"SELECT ticket_id FROM found_ticket WHERE {_has('line')}"  # noqa: S608
    op.execute(sa.text(f"INSERT INTO found_late (ticket_id) {late}"))
    unadorned = "found_by"
    for letter, plain in LETTERS.items():
        unadorned = f"replace({unadorned}, '{letter}', '{plain}')"
    for table in ("customer", "vehicle"):
        op.execute(sa.text(f"UPDATE {table} SET found_by = {unadorned} WHERE {_has('found_by')}"))  # noqa: S608


def _has(column: str) -> str:
    return " OR ".join(f"{column} LIKE '%{letter}%'" for letter in LETTERS)


def downgrade() -> None:
    raise NotImplementedError("restore a copy made before instead")
