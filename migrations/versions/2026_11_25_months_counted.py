"""What a month came to, counted as it happens."""

import sqlalchemy as sa
from alembic import op

from pullbook.db.stored_types import Flag, OpaqueId, whole

revision = "2026_11_25_months_counted"
down_revision = "2026_11_25_found_again"
branch_labels = None
depends_on = None

COUNTED = (
    *("opened", "come_again", "done", "cancelled", "booked_s", "used_s", "pulls", "set_aside", "unreadable"),
    *("net_cents", "tax_cents", "paid_cents", "owed_cents", "overpaid_cents", "came_in_cents"),
    *("links_sent", "links_opened", "link_openings"),
)


def upgrade() -> None:
    op.create_table(
        "month_of_ticket",
        sa.Column("ticket_id", OpaqueId(), nullable=False),
        sa.Column("month", sa.Text(), nullable=False),
        sa.Column("turnaround_s", whole(), nullable=True),
        *_counted(),
        _of_ticket("month_of_ticket"),
        sa.PrimaryKeyConstraint("ticket_id", "month", name="pk_month_of_ticket"),
        sqlite_strict=True,
    )
    op.create_index("ix_month_of_ticket_month_ticket_id", "month_of_ticket", ["month", "ticket_id"])
    op.create_index("ix_month_of_ticket_turnaround", "month_of_ticket", ["month", "turnaround_s"])
    op.create_table(
        "month_kind_of_ticket",
        sa.Column("ticket_id", OpaqueId(), nullable=False),
        *_month_and_kind(),
        _of_ticket("month_kind_of_ticket"),
        sa.PrimaryKeyConstraint("ticket_id", "month", "kind_of_work", name="pk_month_kind_of_ticket"),
        sqlite_strict=True,
    )
    columns = ["month", "kind_of_work", "ticket_id"]
    op.create_index("ix_month_kind_of_ticket_month_kind_of_work_ticket_id", "month_kind_of_ticket", columns)
    op.create_table(
        "month_total",
        sa.Column("month", sa.Text(), nullable=False),
        sa.Column("turnaround_median_s", whole(), nullable=True),
        sa.Column("turnaround_90th_s", whole(), nullable=True),
        *_counted(),
        sa.PrimaryKeyConstraint("month", name="pk_month_total"),
        sqlite_strict=True,
    )
    op.create_table(
        "month_kind_total",
        *_month_and_kind(),
        sa.PrimaryKeyConstraint("month", "kind_of_work", name="pk_month_kind_total"),
        sqlite_strict=True,
    )
    op.create_table(
        "months_kept",
        sa.Column("id", whole(), nullable=False, autoincrement=False),
        sa.Column("counting_version", whole(), nullable=False),
        sa.Column("time_zone", sa.Text(), nullable=False),
        sa.Column("prices_include_tax", Flag(), nullable=False),
        sa.CheckConstraint("id = 1", name="only_one"),
        sa.PrimaryKeyConstraint("id", name="pk_months_kept"),
        sqlite_strict=True,
    )
    _not_counted_yet()


def _not_counted_yet() -> None:
    """Where there are tickets already, `pullbook months rebuild` counts them; where there are none, all is counted."""
    there = op.get_bind().execute(sa.text("SELECT count(*) FROM (SELECT 1 FROM ticket LIMIT 1) AS one")).scalar_one()
    kept = sa.table(
        "months_kept",
        sa.column("id", whole()),
        sa.column("counting_version", whole()),
        sa.column("time_zone", sa.Text()),
        sa.column("prices_include_tax", Flag()),
    )
    row = {"id": 1, "counting_version": 0 if there else 1, "time_zone": "UTC", "prices_include_tax": False}
    op.bulk_insert(kept, [row])


def downgrade() -> None:
    for table in ("months_kept", "month_kind_total", "month_total", "month_kind_of_ticket", "month_of_ticket"):
        op.drop_table(table)


def _counted() -> list[sa.Column]:
    return [sa.Column(name, whole(), nullable=False) for name in COUNTED]


def _month_and_kind() -> list[sa.Column]:
    return [
        sa.Column("month", sa.Text(), nullable=False),
        sa.Column("kind_of_work", sa.Text(), nullable=False),
        sa.Column("net_cents", whole(), nullable=False),
    ]


def _of_ticket(table: str) -> sa.ForeignKeyConstraint:
    name = f"fk_{table}_ticket_id_ticket"
    return sa.ForeignKeyConstraint(["ticket_id"], ["ticket.id"], name=name, ondelete="RESTRICT")
