"""A price list, charges on tickets, and what was paid."""

import sqlalchemy as sa
from alembic import op

from pullbook.db.stored_types import Flag, OpaqueId, UtcTime, whole

revision = "2026_11_25_what_it_costs"
down_revision = "2026_11_25_who_comes_in"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("shop", sa.Column("currency", sa.Text(), nullable=True))
    op.add_column("shop", sa.Column("prices_include_tax", Flag(), nullable=True))
    op.create_table(
        "price_item",
        sa.Column("id", OpaqueId(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("kind_of_work", sa.Text(), nullable=False),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("unit_price_cents", whole(), nullable=False),
        sa.Column("tax_rate_bp", whole(), nullable=False),
        sa.Column("retired_at", UtcTime(), nullable=True),
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.Column("made_by", OpaqueId(), nullable=False),
        sa.Column("version", whole(), nullable=False),
        sa.CheckConstraint("length(name) BETWEEN 1 AND 200", name="name_length"),
        sa.CheckConstraint("unit_price_cents >= 0", name="unit_price_cents_not_negative"),
        sa.CheckConstraint("tax_rate_bp BETWEEN 0 AND 10000", name="tax_rate_real"),
        sa.CheckConstraint("version > 0", name="version_positive"),
        _refers("price_item", "made_by", "staff.id"),
        sa.PrimaryKeyConstraint("id", name="pk_price_item"),
        sqlite_strict=True,
    )
    op.create_table(
        "charge",
        sa.Column("id", OpaqueId(), nullable=False),
        sa.Column("ticket_id", OpaqueId(), nullable=False),
        sa.Column("price_item_id", OpaqueId(), nullable=True),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("kind_of_work", sa.Text(), nullable=False),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("quantity_milli", whole(), nullable=False),
        sa.Column("unit_price_cents", whole(), nullable=False),
        sa.Column("tax_rate_bp", whole(), nullable=False),
        *_made_and_struck(),
        sa.CheckConstraint("length(name) BETWEEN 1 AND 200", name="name_length"),
        sa.CheckConstraint("quantity_milli > 0", name="quantity_milli_positive"),
        sa.CheckConstraint("tax_rate_bp BETWEEN 0 AND 10000", name="tax_rate_real"),
        *_struck_whole("charge"),
        _refers("charge", "ticket_id", "ticket.id"),
        _refers("charge", "price_item_id", "price_item.id"),
        sa.PrimaryKeyConstraint("id", name="pk_charge"),
        sqlite_strict=True,
    )
    op.create_index("ix_charge_ticket_id_made_at", "charge", ["ticket_id", "made_at"])
    op.create_table(
        "payment",
        sa.Column("id", OpaqueId(), nullable=False),
        sa.Column("ticket_id", OpaqueId(), nullable=False),
        sa.Column("amount_cents", whole(), nullable=False),
        sa.Column("way", sa.Text(), nullable=False),
        sa.Column("paid_at", UtcTime(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        *_made_and_struck(),
        sa.CheckConstraint("way IN ('cash', 'card', 'transfer', 'other')", name="way_known"),
        sa.CheckConstraint("amount_cents <> 0", name="something_paid"),
        *_struck_whole("payment"),
        _refers("payment", "ticket_id", "ticket.id"),
        sa.PrimaryKeyConstraint("id", name="pk_payment"),
        sqlite_strict=True,
    )
    op.create_index("ix_payment_ticket_id_paid_at", "payment", ["ticket_id", "paid_at"])


def downgrade() -> None:
    raise NotImplementedError("what was charged and paid would be lost; restore a copy instead")


def _made_and_struck() -> list[sa.Column]:
    return [
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.Column("made_by", OpaqueId(), nullable=False),
        sa.Column("struck_at", UtcTime(), nullable=True),
        sa.Column("struck_by", OpaqueId(), nullable=True),
        sa.Column("struck_reason", sa.Text(), nullable=True),
    ]


def _struck_whole(table: str) -> list[sa.Constraint]:
    return [
        sa.CheckConstraint("(struck_at IS NULL) = (struck_reason IS NULL)", name="reason_when_struck"),
        sa.CheckConstraint("(struck_at IS NULL) = (struck_by IS NULL)", name="person_when_struck"),
        _refers(table, "made_by", "staff.id"),
        _refers(table, "struck_by", "staff.id"),
    ]


def _refers(table: str, column: str, to: str) -> sa.ForeignKeyConstraint:
    target, _, _ = to.partition(".")
    return sa.ForeignKeyConstraint([column], [to], name=f"fk_{table}_{column}_{target}", ondelete="RESTRICT")
