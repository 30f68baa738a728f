"""The first records: the shop and its people, cells, tickets, pulls, results links and the audit trail."""

import sqlalchemy as sa
from alembic import op

from pullbook.db.guards import POSTGRES_FUNCTION, guard_statements
from pullbook.db.stored_types import Flag, JsonText, OpaqueId, UtcTime, blob, real, whole

revision = "2026_11_24_first_records"
down_revision = None
branch_labels = None
depends_on = None

GUARDED: dict[str, tuple[str, ...] | None] = {
    "raw_file": None,
    "column_block": None,
    "audit_entry": None,
    "ticket_step": None,
    "calibration": None,
    "weather_reading": None,
    "channel_map": None,
    "pull": ("id", "ticket_id", "cell_id", "sha256", "kind", "taken_at", "received_at", "operator_id", "file_name"),
    "results_link": (
        "id",
        "ticket_id",
        "token_hash",
        "pull_ids",
        "standard",
        "window_s",
        "note",
        "digest",
        "published",
        "made_at",
        "made_by",
    ),
}


def upgrade() -> None:
    _people()
    _cells()
    _tickets()
    _pulls()
    _links_and_audit()
    _guards()


def downgrade() -> None:
    raise NotImplementedError("there is nothing before the first records; restore a copy instead")


def _guards() -> None:
    dialect = op.get_bind().dialect.name
    if dialect == "postgresql":
        op.execute(POSTGRES_FUNCTION)
        # both are compressed already; trying again only costs time
        op.execute("ALTER TABLE raw_file ALTER COLUMN zstd SET STORAGE EXTERNAL")
        op.execute("ALTER TABLE column_block ALTER COLUMN block SET STORAGE EXTERNAL")
    for table, columns in GUARDED.items():
        for statement in guard_statements(dialect, table, columns):
            op.execute(statement)


def _people() -> None:
    op.create_table(
        "shop",
        sa.Column("id", whole(), autoincrement=False, nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("address", sa.Text(), nullable=False),
        sa.Column("time_zone", sa.Text(), nullable=False),
        sa.Column("default_standard", sa.Text(), nullable=False),
        sa.Column("power_unit", sa.Text(), nullable=False),
        sa.Column("torque_unit", sa.Text(), nullable=False),
        sa.Column("pressure_unit", sa.Text(), nullable=False),
        sa.Column("version", whole(), nullable=False),
        sa.CheckConstraint("id = 1", name="only_one"),
        sa.CheckConstraint("length(name) BETWEEN 1 AND 200", name="name_length"),
        sa.CheckConstraint("version > 0", name="version_positive"),
        sa.PrimaryKeyConstraint("id", name="pk_shop"),
        sqlite_strict=True,
    )
    op.create_table(
        "counter",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("last", whole(), nullable=False),
        sa.CheckConstraint("last >= 0", name="last_not_negative"),
        sa.PrimaryKeyConstraint("name", name="pk_counter"),
        sqlite_strict=True,
    )
    op.create_table(
        "staff",
        sa.Column("id", OpaqueId(), nullable=False),
        sa.Column("sign_in_name", sa.Text(), nullable=False),
        sa.Column("full_name", sa.Text(), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("password_hash", sa.Text(), nullable=False),
        sa.Column("created_at", UtcTime(), nullable=False),
        sa.Column("disabled_at", UtcTime(), nullable=True),
        sa.Column("version", whole(), nullable=False),
        sa.CheckConstraint("role IN ('front_desk', 'tuner', 'owner')", name="role_known"),
        sa.CheckConstraint("length(full_name) BETWEEN 1 AND 200", name="full_name_length"),
        sa.CheckConstraint("length(sign_in_name) BETWEEN 1 AND 120", name="sign_in_name_length"),
        sa.CheckConstraint("version > 0", name="version_positive"),
        sa.PrimaryKeyConstraint("id", name="pk_staff"),
        sa.UniqueConstraint("sign_in_name", name="uq_staff_sign_in_name"),
        sqlite_strict=True,
    )
    op.create_table(
        "sign_in",
        sa.Column("id", OpaqueId(), nullable=False),
        sa.Column("token_hash", sa.Text(), nullable=False),
        sa.Column("staff_id", OpaqueId(), nullable=False),
        sa.Column("started_at", UtcTime(), nullable=False),
        sa.Column("ends_at", UtcTime(), nullable=False),
        sa.Column("ended_at", UtcTime(), nullable=True),
        sa.CheckConstraint("ends_at > started_at", name="ends_after_start"),
        sa.CheckConstraint("length(token_hash) BETWEEN 64 AND 64", name="token_hash_length"),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name="fk_sign_in_staff_id_staff", ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("id", name="pk_sign_in"),
        sa.UniqueConstraint("token_hash", name="uq_sign_in_token_hash"),
        sqlite_strict=True,
    )
    op.create_index("ix_sign_in_staff_id", "sign_in", ["staff_id"])
    op.create_table(
        "invitation",
        sa.Column("id", OpaqueId(), nullable=False),
        sa.Column("token_hash", sa.Text(), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.Column("ends_at", UtcTime(), nullable=False),
        sa.Column("used_at", UtcTime(), nullable=True),
        sa.CheckConstraint("role IN ('front_desk', 'tuner', 'owner')", name="role_known"),
        sa.CheckConstraint("ends_at > made_at", name="ends_after_start"),
        sa.CheckConstraint("length(token_hash) BETWEEN 64 AND 64", name="token_hash_length"),
        sa.PrimaryKeyConstraint("id", name="pk_invitation"),
        sa.UniqueConstraint("token_hash", name="uq_invitation_token_hash"),
        sqlite_strict=True,
    )
    op.create_table(
        "tries",
        sa.Column("bucket", sa.Text(), nullable=False),
        sa.Column("remaining", real(), nullable=False),
        sa.Column("counted_at", UtcTime(), nullable=False),
        sa.CheckConstraint("remaining >= 0", name="remaining_not_negative"),
        sa.PrimaryKeyConstraint("bucket", name="pk_tries"),
        sqlite_strict=True,
    )


def _cells() -> None:
    op.create_table(
        "cell",
        sa.Column("id", OpaqueId(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("drive", sa.Text(), nullable=False),
        sa.Column("has_brake", Flag(), nullable=False),
        sa.Column("altitude_m", real(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("version", whole(), nullable=False),
        sa.CheckConstraint("drive IN ('two_wheel', 'all_wheel')", name="drive_known"),
        sa.CheckConstraint("altitude_m BETWEEN -500 AND 6000", name="altitude_on_earth"),
        sa.CheckConstraint("length(name) BETWEEN 1 AND 120", name="name_length"),
        sa.CheckConstraint("version > 0", name="version_positive"),
        sa.PrimaryKeyConstraint("id", name="pk_cell"),
        sa.UniqueConstraint("name", name="uq_cell_name"),
        sqlite_strict=True,
    )
    op.create_table(
        "calibration",
        sa.Column("id", OpaqueId(), nullable=False),
        sa.Column("cell_id", OpaqueId(), nullable=False),
        sa.Column("valid_from", UtcTime(), nullable=False),
        sa.Column("inertia_kg_m2", real(), nullable=False),
        sa.Column("inertia_u_kg_m2", real(), nullable=False),
        sa.Column("roller_radius_m", real(), nullable=False),
        sa.Column("roller_radius_u_m", real(), nullable=False),
        sa.Column("pulses_per_turn", real(), nullable=True),
        sa.Column("loss_c0_nm", real(), nullable=False),
        sa.Column("loss_c1_nm_s", real(), nullable=False),
        sa.Column("loss_c2_nm_s2", real(), nullable=False),
        sa.Column("loss_u_nm", real(), nullable=False),
        sa.Column("brake_arm_m", real(), nullable=True),
        sa.Column("brake_arm_u_m", real(), nullable=True),
        sa.Column("brake_scale", real(), nullable=False),
        sa.Column("brake_scale_u", real(), nullable=False),
        sa.Column("brake_zero_nm", real(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("evidence", sa.Text(), nullable=False),
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.Column("made_by", OpaqueId(), nullable=False),
        sa.CheckConstraint("brake_arm_m > 0", name="brake_arm_m_positive"),
        sa.CheckConstraint("brake_arm_u_m >= 0", name="brake_arm_u_m_not_negative"),
        sa.CheckConstraint("brake_scale > 0", name="brake_scale_positive"),
        sa.CheckConstraint("brake_scale_u >= 0", name="brake_scale_u_not_negative"),
        sa.CheckConstraint("inertia_kg_m2 > 0", name="inertia_kg_m2_positive"),
        sa.CheckConstraint("inertia_u_kg_m2 >= 0", name="inertia_u_kg_m2_not_negative"),
        sa.CheckConstraint("loss_u_nm >= 0", name="loss_u_nm_not_negative"),
        sa.CheckConstraint("pulses_per_turn > 0", name="pulses_per_turn_positive"),
        sa.CheckConstraint("roller_radius_m > 0", name="roller_radius_m_positive"),
        sa.CheckConstraint("roller_radius_u_m >= 0", name="roller_radius_u_m_not_negative"),
        sa.ForeignKeyConstraint(["cell_id"], ["cell.id"], name="fk_calibration_cell_id_cell", ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["made_by"], ["staff.id"], name="fk_calibration_made_by_staff", ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("id", name="pk_calibration"),
        sqlite_strict=True,
    )
    op.create_index("ix_calibration_cell_id_valid_from", "calibration", ["cell_id", "valid_from"])
    op.create_table(
        "weather_reading",
        sa.Column("id", OpaqueId(), nullable=False),
        sa.Column("cell_id", OpaqueId(), nullable=False),
        sa.Column("read_at", UtcTime(), nullable=False),
        sa.Column("air_temperature_c", real(), nullable=False),
        sa.Column("station_pressure_kpa", real(), nullable=False),
        sa.Column("humidity_kind", sa.Text(), nullable=False),
        sa.Column("humidity_value", real(), nullable=False),
        sa.Column("altimeter_setting_kpa", real(), nullable=True),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("doubt", sa.Text(), nullable=True),
        sa.Column("supersedes_id", OpaqueId(), nullable=True),
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.Column("made_by", OpaqueId(), nullable=False),
        sa.CheckConstraint(
            "humidity_kind <> 'relative_pct' OR humidity_value BETWEEN 0 AND 100",
            name="humidity_in_range",
        ),
        sa.CheckConstraint(
            "humidity_kind IN ('relative_pct', 'dew_point_c', 'wet_bulb_c')",
            name="humidity_kind_known",
        ),
        sa.CheckConstraint("air_temperature_c BETWEEN -60 AND 70", name="temperature_on_earth"),
        sa.CheckConstraint("station_pressure_kpa BETWEEN 40 AND 115", name="pressure_on_earth"),
        sa.CheckConstraint("supersedes_id <> id", name="supersedes_another"),
        sa.ForeignKeyConstraint(["cell_id"], ["cell.id"], name="fk_weather_reading_cell_id_cell", ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(
            ["made_by"], ["staff.id"], name="fk_weather_reading_made_by_staff", ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["supersedes_id"],
            ["weather_reading.id"],
            name="fk_weather_reading_supersedes_id_weather_reading",
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name="pk_weather_reading"),
        sa.UniqueConstraint("supersedes_id", name="uq_weather_reading_supersedes_id"),
        sqlite_strict=True,
    )
    op.create_index("ix_weather_reading_cell_id_read_at", "weather_reading", ["cell_id", "read_at"])


def _tickets() -> None:
    op.create_table(
        "customer",
        sa.Column("id", OpaqueId(), nullable=False),
        sa.Column("full_name", sa.Text(), nullable=False),
        sa.Column("phone", sa.Text(), nullable=False),
        sa.Column("email", sa.Text(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("found_by", sa.Text(), nullable=False),
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.Column("version", whole(), nullable=False),
        sa.CheckConstraint("length(full_name) BETWEEN 1 AND 200", name="full_name_length"),
        sa.CheckConstraint("version > 0", name="version_positive"),
        sa.PrimaryKeyConstraint("id", name="pk_customer"),
        sqlite_strict=True,
    )
    op.create_table(
        "vehicle",
        sa.Column("id", OpaqueId(), nullable=False),
        sa.Column("customer_id", OpaqueId(), nullable=False),
        sa.Column("make", sa.Text(), nullable=False),
        sa.Column("model", sa.Text(), nullable=False),
        sa.Column("model_year", whole(), nullable=True),
        sa.Column("plate", sa.Text(), nullable=False),
        sa.Column("vin", sa.Text(), nullable=False),
        sa.Column("engine", sa.Text(), nullable=False),
        sa.Column("displacement_l", real(), nullable=True),
        sa.Column("ignition", sa.Text(), nullable=False),
        sa.Column("aspiration", sa.Text(), nullable=False),
        sa.Column("holds_own_boost", Flag(), nullable=False),
        sa.Column("fuel", sa.Text(), nullable=False),
        sa.Column("drive", sa.Text(), nullable=False),
        sa.Column("mass_kg", real(), nullable=True),
        sa.Column("engine_turns_per_roller_turn", real(), nullable=True),
        sa.Column("fuel_per_litre_cycle_mg", real(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("found_by", sa.Text(), nullable=False),
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.Column("version", whole(), nullable=False),
        sa.CheckConstraint("aspiration IN ('natural', 'mechanical', 'turbo')", name="aspiration_known"),
        sa.CheckConstraint("drive IN ('two_wheel', 'all_wheel')", name="drive_known"),
        sa.CheckConstraint(
            "fuel IN ('petrol', 'e10', 'e85', 'ethanol', 'methanol', 'diesel', 'lpg', 'cng')",
            name="fuel_known",
        ),
        sa.CheckConstraint("ignition IN ('spark', 'compression')", name="ignition_known"),
        sa.CheckConstraint("displacement_l BETWEEN 0.01 AND 30", name="displacement_real"),
        sa.CheckConstraint("engine_turns_per_roller_turn > 0", name="engine_turns_per_roller_turn_positive"),
        sa.CheckConstraint("fuel_per_litre_cycle_mg > 0", name="fuel_per_litre_cycle_mg_positive"),
        sa.CheckConstraint("mass_kg > 0", name="mass_kg_positive"),
        sa.CheckConstraint("model_year BETWEEN 1885 AND 2200", name="model_year_real"),
        sa.CheckConstraint("version > 0", name="version_positive"),
        sa.ForeignKeyConstraint(
            ["customer_id"], ["customer.id"], name="fk_vehicle_customer_id_customer", ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_vehicle"),
        sqlite_strict=True,
    )
    op.create_index("ix_vehicle_customer_id", "vehicle", ["customer_id"])
    op.create_table(
        "ticket",
        sa.Column("id", OpaqueId(), nullable=False),
        sa.Column("number", whole(), nullable=False),
        sa.Column("customer_id", OpaqueId(), nullable=False),
        sa.Column("vehicle_id", OpaqueId(), nullable=False),
        sa.Column("asked", sa.Text(), nullable=False),
        sa.Column("cell_id", OpaqueId(), nullable=True),
        sa.Column("booked_from", UtcTime(), nullable=True),
        sa.Column("booked_to", UtcTime(), nullable=True),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("odometer_km", whole(), nullable=True),
        sa.Column("waiver_name", sa.Text(), nullable=False),
        sa.Column("waiver_at", UtcTime(), nullable=True),
        sa.Column("safety_checked_by", OpaqueId(), nullable=True),
        sa.Column("safety_checked_at", UtcTime(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.Column("made_by", OpaqueId(), nullable=False),
        sa.Column("version", whole(), nullable=False),
        sa.CheckConstraint("(waiver_name = '') = (waiver_at IS NULL)", name="waiver_with_its_time"),
        sa.CheckConstraint(
            "state IN ('booked', 'checked_in', 'in_cell', 'ready', 'collected', 'on_hold', 'cancelled')",
            name="state_known",
        ),
        sa.CheckConstraint(
            "(safety_checked_by IS NULL) = (safety_checked_at IS NULL)", name="safety_check_with_its_time"
        ),
        sa.CheckConstraint("booked_to > booked_from", name="booking_forward"),
        sa.CheckConstraint("number > 0", name="number_positive"),
        sa.CheckConstraint("odometer_km >= 0", name="odometer_km_not_negative"),
        sa.CheckConstraint("version > 0", name="version_positive"),
        sa.ForeignKeyConstraint(["cell_id"], ["cell.id"], name="fk_ticket_cell_id_cell", ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(
            ["customer_id"], ["customer.id"], name="fk_ticket_customer_id_customer", ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(["made_by"], ["staff.id"], name="fk_ticket_made_by_staff", ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(
            ["safety_checked_by"], ["staff.id"], name="fk_ticket_safety_checked_by_staff", ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["vehicle_id"], ["vehicle.id"], name="fk_ticket_vehicle_id_vehicle", ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_ticket"),
        sa.UniqueConstraint("number", name="uq_ticket_number"),
        sqlite_strict=True,
    )
    op.create_index("ix_ticket_booked_from", "ticket", ["booked_from"])
    op.create_index("ix_ticket_customer_id", "ticket", ["customer_id"])
    op.create_index("ix_ticket_state_booked_from", "ticket", ["state", "booked_from"])
    op.create_index("ix_ticket_vehicle_id", "ticket", ["vehicle_id"])
    op.create_table(
        "ticket_step",
        sa.Column("id", OpaqueId(), nullable=False),
        sa.Column("ticket_id", OpaqueId(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("at", UtcTime(), nullable=False),
        sa.Column("by", OpaqueId(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "state IN ('booked', 'checked_in', 'in_cell', 'ready', 'collected', 'on_hold', 'cancelled')",
            name="state_known",
        ),
        sa.ForeignKeyConstraint(["by"], ["staff.id"], name="fk_ticket_step_by_staff", ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(
            ["ticket_id"], ["ticket.id"], name="fk_ticket_step_ticket_id_ticket", ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_ticket_step"),
        sqlite_strict=True,
    )
    op.create_index("ix_ticket_step_ticket_id", "ticket_step", ["ticket_id"])
    op.create_table(
        "setup",
        sa.Column("id", OpaqueId(), nullable=False),
        sa.Column("ticket_id", OpaqueId(), nullable=False),
        sa.Column("position", whole(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("changed", sa.Text(), nullable=False),
        sa.Column("gear", sa.Text(), nullable=False),
        sa.Column("engine_turns_per_roller_turn", real(), nullable=True),
        sa.Column("tyre_pressure_kpa", real(), nullable=True),
        sa.Column("fuel", sa.Text(), nullable=False),
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.Column("made_by", OpaqueId(), nullable=False),
        sa.Column("version", whole(), nullable=False),
        sa.CheckConstraint("engine_turns_per_roller_turn > 0", name="engine_turns_per_roller_turn_positive"),
        sa.CheckConstraint("length(name) BETWEEN 1 AND 120", name="name_length"),
        sa.CheckConstraint("position >= 0", name="position_not_negative"),
        sa.CheckConstraint("tyre_pressure_kpa > 0", name="tyre_pressure_kpa_positive"),
        sa.CheckConstraint("version > 0", name="version_positive"),
        sa.ForeignKeyConstraint(["made_by"], ["staff.id"], name="fk_setup_made_by_staff", ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["ticket_id"], ["ticket.id"], name="fk_setup_ticket_id_ticket", ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("id", name="pk_setup"),
        sa.UniqueConstraint("id", "ticket_id", name="uq_setup_id_ticket_id"),
        sa.UniqueConstraint("ticket_id", "position", name="uq_setup_ticket_id_position"),
        sqlite_strict=True,
    )


def _pulls() -> None:
    op.create_table(
        "channel_map",
        sa.Column("id", OpaqueId(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("columns", JsonText(), nullable=False),
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.Column("made_by", OpaqueId(), nullable=False),
        sa.CheckConstraint("length(name) BETWEEN 1 AND 120", name="name_length"),
        sa.ForeignKeyConstraint(["made_by"], ["staff.id"], name="fk_channel_map_made_by_staff", ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("id", name="pk_channel_map"),
        sa.UniqueConstraint("name", name="uq_channel_map_name"),
        sqlite_strict=True,
    )
    op.create_table(
        "raw_file",
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("size_bytes", whole(), nullable=False),
        sa.Column("zstd", blob(), nullable=False),
        sa.Column("received_at", UtcTime(), nullable=False),
        sa.CheckConstraint("length(sha256) BETWEEN 64 AND 64", name="sha256_length"),
        sa.CheckConstraint("size_bytes > 0", name="size_bytes_positive"),
        sa.PrimaryKeyConstraint("sha256", name="pk_raw_file"),
        sqlite_strict=True,
    )
    op.create_table(
        "column_block",
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("reader", sa.Text(), nullable=False),
        sa.Column("headers", JsonText(), nullable=False),
        sa.Column("found", JsonText(), nullable=False),
        sa.Column("row_count", whole(), nullable=False),
        sa.Column("block", blob(), nullable=False),
        sa.CheckConstraint("row_count >= 0", name="row_count_not_negative"),
        sa.ForeignKeyConstraint(
            ["sha256"], ["raw_file.sha256"], name="fk_column_block_sha256_raw_file", ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("sha256", name="pk_column_block"),
        sqlite_strict=True,
    )
    op.create_table(
        "pull",
        sa.Column("id", OpaqueId(), nullable=False),
        sa.Column("ticket_id", OpaqueId(), nullable=False),
        sa.Column("setup_id", OpaqueId(), nullable=False),
        sa.Column("cell_id", OpaqueId(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("taken_at", UtcTime(), nullable=False),
        sa.Column("received_at", UtcTime(), nullable=False),
        sa.Column("file_name", sa.Text(), nullable=False),
        sa.Column("operator_id", OpaqueId(), nullable=False),
        sa.Column("channel_map_id", OpaqueId(), nullable=True),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("unreadable_reason", sa.Text(), nullable=True),
        sa.Column("set_aside_reason", sa.Text(), nullable=True),
        sa.Column("set_aside_at", UtcTime(), nullable=True),
        sa.Column("set_aside_by", OpaqueId(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("version", whole(), nullable=False),
        sa.CheckConstraint("(state = 'unreadable') = (unreadable_reason IS NOT NULL)", name="reason_when_unreadable"),
        sa.CheckConstraint("kind IN ('sweep', 'hold', 'coast_down')", name="kind_known"),
        sa.CheckConstraint("state IN ('readable', 'unreadable')", name="state_known"),
        sa.CheckConstraint("(set_aside_at IS NULL) = (set_aside_by IS NULL)", name="person_when_set_aside"),
        sa.CheckConstraint("(set_aside_at IS NULL) = (set_aside_reason IS NULL)", name="reason_when_set_aside"),
        sa.CheckConstraint("version > 0", name="version_positive"),
        sa.ForeignKeyConstraint(["cell_id"], ["cell.id"], name="fk_pull_cell_id_cell", ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(
            ["channel_map_id"], ["channel_map.id"], name="fk_pull_channel_map_id_channel_map", ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(["operator_id"], ["staff.id"], name="fk_pull_operator_id_staff", ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["set_aside_by"], ["staff.id"], name="fk_pull_set_aside_by_staff", ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(
            ["setup_id", "ticket_id"],
            ["setup.id", "setup.ticket_id"],
            name="fk_pull_setup_id_setup",
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(["sha256"], ["raw_file.sha256"], name="fk_pull_sha256_raw_file", ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["ticket_id"], ["ticket.id"], name="fk_pull_ticket_id_ticket", ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("id", name="pk_pull"),
        sa.UniqueConstraint("ticket_id", "sha256", name="uq_pull_ticket_id_sha256"),
        sqlite_strict=True,
    )
    op.create_index("ix_pull_cell_id_taken_at", "pull", ["cell_id", "taken_at"])
    op.create_index("ix_pull_setup_id_taken_at", "pull", ["setup_id", "taken_at"])
    op.create_index("ix_pull_sha256", "pull", ["sha256"])
    op.create_index("ix_pull_taken_at_id", "pull", ["taken_at", "id"])


def _links_and_audit() -> None:
    op.create_table(
        "results_link",
        sa.Column("id", OpaqueId(), nullable=False),
        sa.Column("ticket_id", OpaqueId(), nullable=False),
        sa.Column("token_hash", sa.Text(), nullable=False),
        sa.Column("pull_ids", JsonText(), nullable=False),
        sa.Column("standard", sa.Text(), nullable=False),
        sa.Column("window_s", real(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("digest", sa.Text(), nullable=False),
        sa.Column("published", JsonText(), nullable=False),
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.Column("made_by", OpaqueId(), nullable=False),
        sa.Column("ends_at", UtcTime(), nullable=False),
        sa.Column("revoked_at", UtcTime(), nullable=True),
        sa.Column("opened_count", whole(), nullable=False),
        sa.Column("last_opened_on", sa.Text(), nullable=True),
        sa.Column("version", whole(), nullable=False),
        sa.CheckConstraint("ends_at > made_at", name="ends_after_it_was_made"),
        sa.CheckConstraint("length(token_hash) BETWEEN 64 AND 64", name="token_hash_length"),
        sa.CheckConstraint("opened_count >= 0", name="opened_count_not_negative"),
        sa.CheckConstraint("version > 0", name="version_positive"),
        sa.ForeignKeyConstraint(["made_by"], ["staff.id"], name="fk_results_link_made_by_staff", ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(
            ["ticket_id"], ["ticket.id"], name="fk_results_link_ticket_id_ticket", ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_results_link"),
        sa.UniqueConstraint("token_hash", name="uq_results_link_token_hash"),
        sqlite_strict=True,
    )
    op.create_index("ix_results_link_ticket_id", "results_link", ["ticket_id"])
    op.create_table(
        "audit_entry",
        sa.Column("number", whole(), autoincrement=False, nullable=False),
        sa.Column("at", UtcTime(), nullable=False),
        sa.Column("staff_id", OpaqueId(), nullable=True),
        sa.Column("action", sa.Text(), nullable=False),
        sa.Column("record", sa.Text(), nullable=False),
        sa.Column("record_id", sa.Text(), nullable=False),
        sa.Column("detail_digest", sa.Text(), nullable=False),
        sa.Column("previous_hash", sa.Text(), nullable=False),
        sa.Column("hash", sa.Text(), nullable=False),
        sa.CheckConstraint("length(hash) BETWEEN 64 AND 64", name="hash_length"),
        sa.CheckConstraint("number > 0", name="number_positive"),
        sa.PrimaryKeyConstraint("number", name="pk_audit_entry"),
        sa.UniqueConstraint("hash", name="uq_audit_entry_hash"),
        sa.UniqueConstraint("previous_hash", name="uq_audit_entry_previous_hash"),
        sqlite_strict=True,
    )
    op.create_index("ix_audit_entry_record_record_id", "audit_entry", ["record", "record_id"])
    op.create_table(
        "audit_detail",
        sa.Column("number", whole(), autoincrement=False, nullable=False),
        sa.Column("salt", sa.Text(), nullable=False),
        sa.Column("before", JsonText(), nullable=True),
        sa.Column("after", JsonText(), nullable=True),
        sa.ForeignKeyConstraint(
            ["number"], ["audit_entry.number"], name="fk_audit_detail_number_audit_entry", ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("number", name="pk_audit_detail"),
        sqlite_strict=True,
    )
