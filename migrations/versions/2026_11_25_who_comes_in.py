"""People who may only read, and a second step at the door: a code from a telephone beside the password."""

import sqlalchemy as sa
from alembic import op

from pullbook.db.stored_types import OpaqueId, UtcTime, whole

revision = "2026_11_25_who_comes_in"
down_revision = "2026_11_25_senders_and_tray"
branch_labels = None
depends_on = None

ROLES_BEFORE = "role IN ('front_desk', 'tuner', 'owner')"
ROLES_NOW = "role IN ('read_only', 'front_desk', 'tuner', 'owner')"


def upgrade() -> None:
    for table in ("staff", "invitation"):
        if op.get_bind().dialect.name == "sqlite":
            _rebuild(table)
        else:
            op.drop_constraint(op.f(f"ck_{table}_role_known"), table, type_="check")
            op.create_check_constraint(op.f(f"ck_{table}_role_known"), table, ROLES_NOW)
    op.add_column("staff", sa.Column("code_secret", sa.Text(), nullable=True))
    op.add_column("staff", sa.Column("code_since", UtcTime(), nullable=True))
    op.add_column("staff", sa.Column("code_last_step", whole(), nullable=True))
    op.create_table(
        "spare_code",
        sa.Column("id", OpaqueId(), nullable=False),
        sa.Column("staff_id", OpaqueId(), nullable=False),
        sa.Column("code_hash", sa.Text(), nullable=False),
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.Column("used_at", UtcTime(), nullable=True),
        sa.CheckConstraint("length(code_hash) BETWEEN 64 AND 64", name="code_hash_length"),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name="fk_spare_code_staff_id_staff", ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("id", name="pk_spare_code"),
        sqlite_strict=True,
    )
    op.create_index("ix_spare_code_staff_id", "spare_code", ["staff_id"])


def downgrade() -> None:
    raise NotImplementedError("people would be locked out; restore a copy instead")


def _rebuild(table: str) -> None:
    """SQLite cannot change a CHECK where it stands: the table is made again, word for word but for its roles."""
    connection = op.get_bind()
    asked = "SELECT sql FROM sqlite_master WHERE tbl_name = '{}' AND type = '{}' AND sql IS NOT NULL"
    before = connection.exec_driver_sql(asked.format(table, "table")).scalar_one()
    indexes = connection.exec_driver_sql(asked.format(table, "index")).scalars().all()
    now = before.replace(ROLES_BEFORE, ROLES_NOW)
    if now == before:
        raise RuntimeError(f"the table {table} is not as the first migration made it")
    connection.exec_driver_sql(now.replace(f"CREATE TABLE {table} ", f"CREATE TABLE {table}_anew ", 1))
    connection.exec_driver_sql(f"INSERT INTO {table}_anew SELECT * FROM {table}")  # noqa: S608  names of our own
    connection.exec_driver_sql(f"DROP TABLE {table}")
    connection.exec_driver_sql(f"ALTER TABLE {table}_anew RENAME TO {table}")
    for statement in indexes:
        connection.exec_driver_sql(statement)
