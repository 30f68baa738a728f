"""What finds a pull again: search texts and index rows; and indexes for lists that grow long."""

import sqlalchemy as sa
from alembic import op

from pullbook.db.found_triggers import finding_statements
from pullbook.db.stored_types import Flag, OpaqueId, UtcTime, real, whole

revision = "2026_11_25_found_again"
down_revision = "2026_11_25_desk_and_checklist"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """The tables, their triggers, and every pull and ticket on record marked as still to be read."""
    op.create_table(
        "found_model",
        sa.Column("id", OpaqueId(), nullable=False),
        *(sa.Column(name, sa.Text(), nullable=False) for name in ("make_key", "model_key", "make", "model")),
        sa.PrimaryKeyConstraint("id", name="pk_found_model"),
        sa.UniqueConstraint("make_key", "model_key", name="uq_found_model_make_key_model_key"),
        sqlite_strict=True,
    )
    op.create_table(
        "found_ticket",
        sa.Column("number", whole(), autoincrement=False, nullable=False),
        sa.Column("ticket_id", OpaqueId(), nullable=False),
        sa.Column("model_id", OpaqueId(), nullable=False),
        sa.Column("model_year", whole(), nullable=True),
        *(sa.Column(name, sa.Text(), nullable=False) for name in ("engine_key", "family_key", "own_line", "line")),
        _reference("found_ticket", "ticket_id", "ticket"),
        _reference("found_ticket", "model_id", "found_model"),
        sa.PrimaryKeyConstraint("number", name="pk_found_ticket"),
        sa.UniqueConstraint("ticket_id", name="uq_found_ticket_ticket_id"),
        sqlite_strict=True,
    )
    for first in ("model_id", "engine_key", "family_key"):
        op.create_index(f"ix_found_ticket_{first}_number", "found_ticket", [first, "number"])
    _make_pulls()
    _index_lists()
    for statement in finding_statements(op.get_bind().dialect.name):
        op.execute(sa.text(statement.replace(":", r"\:")))
    _mark_all()


def downgrade() -> None:
    raise NotImplementedError("restore a copy made before instead")


def _reference(table: str, column: str, other: str) -> sa.ForeignKeyConstraint:
    name = f"fk_{table}_{column}_{other}"
    return sa.ForeignKeyConstraint([column], [f"{other}.id"], name=name, ondelete="RESTRICT")


def _make_pulls() -> None:
    op.create_table(
        "found_pull",
        sa.Column("pull_id", OpaqueId(), nullable=False),
        sa.Column("taken_at", UtcTime(), nullable=False),
        sa.Column("number", whole(), nullable=False),
        sa.Column("setup_id", OpaqueId(), nullable=False),
        sa.Column("cell_id", OpaqueId(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("set_aside", Flag(), nullable=False),
        sa.Column("model_id", OpaqueId(), nullable=True),
        sa.Column("model_year", whole(), nullable=True),
        *(sa.Column(name, real(), nullable=True) for name in ("power_w", "torque_nm", "air_density_kg_m3")),
        sa.Column("flag_count", whole(), nullable=False),
        sa.Column("standard", sa.Text(), nullable=False),
        sa.Column("method_version", sa.Text(), nullable=False),
        _reference("found_pull", "pull_id", "pull"),
        sa.PrimaryKeyConstraint("pull_id", name="pk_found_pull"),
        sqlite_strict=True,
    )
    op.create_index("ix_found_pull_taken_at_pull_id", "found_pull", ["taken_at", "pull_id"])
    for first in ("number", "model_id", "model_year", "cell_id", "kind"):
        op.create_index(f"ix_found_pull_{first}_taken_at_pull_id", "found_pull", [first, "taken_at", "pull_id"])
    op.create_index("ix_found_pull_power_w", "found_pull", ["power_w"])
    op.create_index("ix_found_pull_torque_nm", "found_pull", ["torque_nm"])
    aside = {"sqlite_where": sa.text("set_aside = 1"), "postgresql_where": sa.text("set_aside")}
    op.create_index("ix_found_pull_set_aside", "found_pull", ["taken_at", "pull_id"], **aside)
    op.create_table(
        "found_flag",
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("taken_at", UtcTime(), nullable=False),
        sa.Column("pull_id", OpaqueId(), nullable=False),
        sa.PrimaryKeyConstraint("code", "taken_at", "pull_id", name="pk_found_flag"),
        sqlite_strict=True,
    )
    op.create_index("ix_found_flag_pull_id", "found_flag", ["pull_id"])
    op.create_table(
        "found_due",
        sa.Column("pull_id", OpaqueId(), autoincrement=False, nullable=False),
        sa.PrimaryKeyConstraint("pull_id", name="pk_found_due"),
        sqlite_strict=True,
    )
    op.create_table(
        "found_late",
        sa.Column("id", whole(), autoincrement=True, nullable=False),
        sa.Column("ticket_id", OpaqueId(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_found_late"),
        sqlite_strict=True,
    )


def _index_lists() -> None:
    """Every list that may grow long is walked back from its newest row."""
    op.create_index("ix_weather_reading_read_at_id", "weather_reading", ["read_at", "id"])
    op.create_index("ix_tray_file_taken_at_id", "tray_file", ["taken_at", "id"])
    op.create_index("ix_ticket_state_number", "ticket", ["state", "number"])
    op.drop_index("ix_audit_entry_record_record_id", "audit_entry")
    for first in ("record", "record_id", "staff_id"):
        op.create_index(f"ix_audit_entry_{first}_number", "audit_entry", [first, "number"])


def _mark_all() -> None:
    """What is on record already: the next change writes the texts, and figures are read when they are asked for."""
    op.execute(
        "INSERT INTO found_pull (pull_id, taken_at, number, setup_id, cell_id, kind, set_aside, flag_count, standard, "
        "method_version) SELECT pull.id, pull.taken_at, ticket.number, pull.setup_id, pull.cell_id, pull.kind, "
        "pull.set_aside_at IS NOT NULL, 0, '', '' FROM pull JOIN ticket ON ticket.id = pull.ticket_id"
    )
    op.execute("INSERT INTO found_due (pull_id) SELECT id FROM pull")
    op.execute("INSERT INTO found_late (ticket_id) SELECT id FROM ticket")
