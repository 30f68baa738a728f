"""Second loggers, what calibrations rest on, limits, track runs, fuel map layouts, reference cars, part throttle."""

import sqlalchemy as sa
from alembic import op

from pullbook.db.guards import guard_statements
from pullbook.db.stored_types import JsonText, OpaqueId, UtcTime, real, whole

revision = "2026_11_25_numbers_that_hold_up"
down_revision = "2026_11_24_first_records"
branch_labels = None
depends_on = None

GUARDED: dict[str, tuple[str, ...] | None] = {
    "calibration_evidence": None,
    "calibration_basis": None,
    "joined_file": ("id", "pull_id", "sha256", "file_name", "received_at", "made_by"),
}
GUARDED_PULL = ("id", "ticket_id", "cell_id", "sha256", "kind", "taken_at", "received_at", "operator_id", "file_name")
KINDS_BEFORE = "kind IN ('sweep', 'hold', 'coast_down')"
KINDS_NOW = "kind IN ('sweep', 'hold', 'coast_down', 'part_throttle')"


def upgrade() -> None:
    _joined_files()
    _calibration_evidence()
    _limits_and_runs()
    _layouts_and_cars()
    if op.get_bind().dialect.name == "sqlite":
        _rebuild_pull()
    else:
        op.drop_constraint(op.f("ck_pull_kind_known"), "pull", type_="check")
        op.create_check_constraint(op.f("ck_pull_kind_known"), "pull", KINDS_NOW)
    for table, columns in GUARDED.items():
        for statement in guard_statements(op.get_bind().dialect.name, table, columns):
            op.execute(statement)


def downgrade() -> None:
    raise NotImplementedError("evidence would be lost; restore a copy instead")


def _rebuild_pull() -> None:
    """SQLite cannot change a CHECK where it stands: the table is made again, word for word but for its kinds."""
    connection = op.get_bind()
    asked = "SELECT sql FROM sqlite_master WHERE tbl_name = 'pull' AND type = '{}' AND sql IS NOT NULL"
    before = connection.exec_driver_sql(asked.format("table")).scalar_one()
    indexes = connection.exec_driver_sql(asked.format("index")).scalars().all()
    now = before.replace(KINDS_BEFORE, KINDS_NOW)
    if now == before:
        raise RuntimeError("the table of pulls is not as the first migration made it")
    connection.exec_driver_sql(now.replace("CREATE TABLE pull ", "CREATE TABLE pull_anew ", 1))
    connection.exec_driver_sql("INSERT INTO pull_anew SELECT * FROM pull")
    connection.exec_driver_sql("DROP TABLE pull")  # and its guards with it
    connection.exec_driver_sql("ALTER TABLE pull_anew RENAME TO pull")
    for statement in (*indexes, *guard_statements("sqlite", "pull", GUARDED_PULL)):
        connection.exec_driver_sql(statement)


def _refers(table: str, column: str, to: str) -> sa.ForeignKeyConstraint:
    target, _, _ = to.partition(".")
    return sa.ForeignKeyConstraint([column], [to], name=f"fk_{table}_{column}_{target}", ondelete="RESTRICT")


def _joined_files() -> None:
    op.create_table(
        "joined_file",
        sa.Column("id", OpaqueId(), nullable=False),
        sa.Column("pull_id", OpaqueId(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("file_name", sa.Text(), nullable=False),
        sa.Column("received_at", UtcTime(), nullable=False),
        sa.Column("made_by", OpaqueId(), nullable=False),
        sa.Column("channel_map_id", OpaqueId(), nullable=True),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("unreadable_reason", sa.Text(), nullable=True),
        sa.Column("offset_s", real(), nullable=True),
        sa.Column("offset_by", OpaqueId(), nullable=True),
        sa.Column("offset_at", UtcTime(), nullable=True),
        sa.Column("left_out_reason", sa.Text(), nullable=True),
        sa.Column("left_out_at", UtcTime(), nullable=True),
        sa.Column("left_out_by", OpaqueId(), nullable=True),
        sa.Column("version", whole(), nullable=False),
        sa.CheckConstraint("state IN ('readable', 'unreadable')", name="state_known"),
        sa.CheckConstraint("(state = 'unreadable') = (unreadable_reason IS NOT NULL)", name="reason_when_unreadable"),
        sa.CheckConstraint("(offset_s IS NULL) = (offset_by IS NULL)", name="person_when_set_by_hand"),
        sa.CheckConstraint("(offset_s IS NULL) = (offset_at IS NULL)", name="time_when_set_by_hand"),
        sa.CheckConstraint("(left_out_at IS NULL) = (left_out_reason IS NULL)", name="reason_when_left_out"),
        sa.CheckConstraint("(left_out_at IS NULL) = (left_out_by IS NULL)", name="person_when_left_out"),
        sa.CheckConstraint("version > 0", name="version_positive"),
        _refers("joined_file", "pull_id", "pull.id"),
        _refers("joined_file", "sha256", "raw_file.sha256"),
        _refers("joined_file", "channel_map_id", "channel_map.id"),
        *(_refers("joined_file", column, "staff.id") for column in ("made_by", "offset_by", "left_out_by")),
        sa.PrimaryKeyConstraint("id", name="pk_joined_file"),
        sa.UniqueConstraint("pull_id", "sha256", name="uq_joined_file_pull_id_sha256"),
        sqlite_strict=True,
    )
    op.create_index("ix_joined_file_sha256", "joined_file", ["sha256"])


def _calibration_evidence() -> None:
    op.create_table(
        "calibration_evidence",
        sa.Column("id", OpaqueId(), nullable=False),
        sa.Column("cell_id", OpaqueId(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("taken_at", UtcTime(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=True),
        sa.Column("file_name", sa.Text(), nullable=False),
        sa.Column("channel_map_id", OpaqueId(), nullable=True),
        sa.Column("details", JsonText(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.Column("made_by", OpaqueId(), nullable=False),
        sa.CheckConstraint("kind IN ('coast_down', 'known_torque', 'known_mass', 'brake_weights')", name="kind_known"),
        sa.CheckConstraint("(sha256 IS NULL) = (file_name = '')", name="file_with_its_name"),
        _refers("calibration_evidence", "cell_id", "cell.id"),
        _refers("calibration_evidence", "sha256", "raw_file.sha256"),
        _refers("calibration_evidence", "channel_map_id", "channel_map.id"),
        _refers("calibration_evidence", "made_by", "staff.id"),
        sa.PrimaryKeyConstraint("id", name="pk_calibration_evidence"),
        sqlite_strict=True,
    )
    op.create_index("ix_calibration_evidence_cell_id_taken_at", "calibration_evidence", ["cell_id", "taken_at"])
    op.create_index("ix_calibration_evidence_sha256", "calibration_evidence", ["sha256"])
    op.create_table(
        "calibration_basis",
        sa.Column("calibration_id", OpaqueId(), nullable=False),
        sa.Column("evidence_id", OpaqueId(), nullable=False),
        _refers("calibration_basis", "calibration_id", "calibration.id"),
        _refers("calibration_basis", "evidence_id", "calibration_evidence.id"),
        sa.PrimaryKeyConstraint("calibration_id", "evidence_id", name="pk_calibration_basis"),
        sqlite_strict=True,
    )


def _limits_and_runs() -> None:
    op.create_table(
        "ticket_limit",
        sa.Column("ticket_id", OpaqueId(), nullable=False),
        sa.Column("quantity", sa.Text(), nullable=False),
        sa.Column("value", real(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.Column("made_by", OpaqueId(), nullable=False),
        sa.CheckConstraint(
            "quantity IN ('lambda_leaner_than', 'manifold_pressure_kpa_above', 'coolant_temperature_c_above', "
            "'intake_temperature_c_above', 'oil_temperature_c_above', 'knock_retard_deg_beyond', "
            "'fuel_pressure_kpa_below')",
            name="quantity_known",
        ),
        _refers("ticket_limit", "ticket_id", "ticket.id"),
        _refers("ticket_limit", "made_by", "staff.id"),
        sa.PrimaryKeyConstraint("ticket_id", "quantity", name="pk_ticket_limit"),
        sqlite_strict=True,
    )
    op.create_table(
        "track_run",
        sa.Column("id", OpaqueId(), nullable=False),
        sa.Column("ticket_id", OpaqueId(), nullable=False),
        sa.Column("setup_id", OpaqueId(), nullable=False),
        sa.Column("ran_at", UtcTime(), nullable=False),
        sa.Column("mass_kg", real(), nullable=False),
        sa.Column("distance_m", real(), nullable=False),
        sa.Column("elapsed_s", real(), nullable=True),
        sa.Column("trap_speed_m_s", real(), nullable=True),
        sa.Column("air_temperature_c", real(), nullable=True),
        sa.Column("station_pressure_kpa", real(), nullable=True),
        sa.Column("surface", sa.Text(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("set_aside_reason", sa.Text(), nullable=True),
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.Column("made_by", OpaqueId(), nullable=False),
        sa.Column("version", whole(), nullable=False),
        sa.CheckConstraint("elapsed_s IS NOT NULL OR trap_speed_m_s IS NOT NULL", name="something_timed"),
        *(
            sa.CheckConstraint(f"{column} > 0", name=f"{column}_positive")
            for column in ("mass_kg", "distance_m", "elapsed_s", "trap_speed_m_s", "version")
        ),
        sa.CheckConstraint("air_temperature_c BETWEEN -60 AND 70", name="temperature_on_earth"),
        sa.CheckConstraint("station_pressure_kpa BETWEEN 40 AND 115", name="pressure_on_earth"),
        _refers("track_run", "ticket_id", "ticket.id"),
        sa.ForeignKeyConstraint(
            ["setup_id", "ticket_id"],
            ["setup.id", "setup.ticket_id"],
            name="fk_track_run_setup_id_setup",
            ondelete="RESTRICT",
        ),
        _refers("track_run", "made_by", "staff.id"),
        sa.PrimaryKeyConstraint("id", name="pk_track_run"),
        sqlite_strict=True,
    )
    op.create_index("ix_track_run_ticket_id_ran_at", "track_run", ["ticket_id", "ran_at"])


def _layouts_and_cars() -> None:
    op.create_table(
        "fuel_map_layout",
        sa.Column("id", OpaqueId(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("load_axis", sa.Text(), nullable=False),
        sa.Column("speed_edges_rpm", JsonText(), nullable=False),
        sa.Column("load_edges", JsonText(), nullable=False),
        sa.Column("minimum_time_s", real(), nullable=False),
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.Column("made_by", OpaqueId(), nullable=False),
        sa.Column("version", whole(), nullable=False),
        sa.CheckConstraint("length(name) BETWEEN 1 AND 120", name="name_length"),
        sa.CheckConstraint("load_axis IN ('manifold_pressure_kpa', 'throttle_pct')", name="load_axis_known"),
        sa.CheckConstraint("minimum_time_s >= 0", name="minimum_time_s_not_negative"),
        sa.CheckConstraint("version > 0", name="version_positive"),
        _refers("fuel_map_layout", "made_by", "staff.id"),
        sa.PrimaryKeyConstraint("id", name="pk_fuel_map_layout"),
        sa.UniqueConstraint("name", name="uq_fuel_map_layout_name"),
        sqlite_strict=True,
    )
    op.create_table(
        "reference_car",
        sa.Column("id", OpaqueId(), nullable=False),
        sa.Column("vehicle_id", OpaqueId(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("standard", sa.Text(), nullable=False),
        sa.Column("band_low_rpm", real(), nullable=False),
        sa.Column("band_high_rpm", real(), nullable=False),
        sa.Column("first_pulls", whole(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.Column("made_by", OpaqueId(), nullable=False),
        sa.Column("retired_at", UtcTime(), nullable=True),
        sa.Column("version", whole(), nullable=False),
        sa.CheckConstraint("length(name) BETWEEN 1 AND 120", name="name_length"),
        sa.CheckConstraint("band_high_rpm > band_low_rpm", name="band_forward"),
        sa.CheckConstraint("first_pulls >= 2", name="enough_first_pulls"),
        sa.CheckConstraint("band_low_rpm > 0", name="band_low_rpm_positive"),
        sa.CheckConstraint("version > 0", name="version_positive"),
        _refers("reference_car", "vehicle_id", "vehicle.id"),
        _refers("reference_car", "made_by", "staff.id"),
        sa.PrimaryKeyConstraint("id", name="pk_reference_car"),
        sa.UniqueConstraint("vehicle_id", name="uq_reference_car_vehicle_id"),
        sqlite_strict=True,
    )
