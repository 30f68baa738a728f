"""What the desk writes down when a car arrives, the waiver's versions, the checklist and who signed it."""

import json
from datetime import UTC, datetime

import sqlalchemy as sa
from alembic import op

from pullbook.db.guards import guard_statements
from pullbook.db.stored_types import OpaqueId, UtcTime, blob, new_id, whole

revision = "2026_11_25_desk_and_checklist"
down_revision = "2026_11_25_what_it_costs"
branch_labels = None
depends_on = None

GUARDED = ("waiver_text", "safety_checklist", "safety_signing")
CAME_WITH_IT = datetime(2026, 11, 25, tzinfo=UTC)
FIRST_WAIVER = """\
DRAFT. This text came with the program. It is not legal advice, and nobody has checked it against the law where you \
are. Have a lawyer who practises there read and change it before a customer signs it.

1. You ask us to run your car on our rollers. It will be driven at full load and high speed without leaving \
the spot.
2. You tell us what you know: faults, leaks, repairs not finished, parts that are not what they seem, and how old the \
tyres are.
3. A car can be damaged on the rollers: engine, clutch, gearbox, driveline, tyres, bodywork at the tie-downs. Wear \
that was there before may show itself here for the first time.
4. We check the car before it runs and may refuse to run it, or stop, whenever it does not look safe to us.
5. Nobody but our own people stands in the cell while the rollers turn. Watch from where we show you.
6. Figures are measured as well as we can and are told with what they may be off by. They are no promise of what the \
car will do on the road, and a change of tune may alter what the law or your insurer lets you do with it.
7. We may keep photos and measurements of the car for our own records. Nobody else gets to see them unless you agree.
8. Nothing in this text takes away a right that the law gives you and that cannot be signed away.

With your name you say that you have read this, could ask about it, and agree.
"""
FIRST_POINTS = (
    "Tie-downs: on at every corner that needs one, tight, pulled straight, nothing rubs or lies over an edge",
    "Tyres: sound, no bulge or cord, rated for the speed to come, pressure set, stones out of the tread",
    "Wheels and driveline: nuts tight, nothing loose, no play that grows when it is rocked",
    "Leaks: none to be seen or smelled – fuel, oil, coolant",
    "Levels: oil and coolant as they should be, enough fuel of the right kind for every pull",
    "Guards: on, and nothing lies on or near the rollers",
    "Cooling: fan placed and running, air reaches the radiator",
    "Extraction: on the pipe and running, fresh air comes in, alarm for carbon monoxide on",
    "Extinguisher: charged, in reach of the seat, and whoever drives knows where",
    "Emergency stop: tried today, in reach of whoever runs the rollers",
    "People: hearing and eye protection on, nobody in line with the car or beside the rollers",
    "First pull gentle: part load to the middle of the range, then stop, look under the car and at the straps again",
)


def upgrade() -> None:
    _make_texts()
    _make_signings()
    _make_photos()
    _change_ticket()
    dialect = op.get_bind().dialect.name
    for table in GUARDED:
        for statement in guard_statements(dialect, table, None):
            op.execute(statement)


def downgrade() -> None:
    raise NotImplementedError("signings would be lost; restore a copy instead")


def _make_texts() -> None:
    """Waiver and checklist, each with the version that came with the service."""
    for table, column in (("waiver_text", "body"), ("safety_checklist", "points")):
        checks = [sa.CheckConstraint("number > 0", name="number_positive")]
        if column == "body":
            checks.append(sa.CheckConstraint("length(body) BETWEEN 1 AND 20000", name="body_length"))
        made = op.create_table(
            table,
            sa.Column("id", OpaqueId(), nullable=False),
            sa.Column("number", whole(), nullable=False),
            sa.Column(column, sa.Text(), nullable=False),
            sa.Column("made_at", UtcTime(), nullable=False),
            sa.Column("made_by", OpaqueId(), nullable=True),
            *checks,
            _refers(table, "made_by", "staff.id"),
            sa.PrimaryKeyConstraint("id", name=f"pk_{table}"),
            sa.UniqueConstraint("number", name=f"uq_{table}_number"),
            sqlite_strict=True,
        )
        text = FIRST_WAIVER if column == "body" else json.dumps(FIRST_POINTS, ensure_ascii=False)
        op.bulk_insert(made, [{"id": new_id(), "number": 1, column: text, "made_at": CAME_WITH_IT}])


def _make_signings() -> None:
    """Signings; the single tick of before becomes one each, under the id of its ticket, for whatever cell."""
    op.create_table(
        "safety_signing",
        sa.Column("id", OpaqueId(), nullable=False),
        sa.Column("ticket_id", OpaqueId(), nullable=False),
        sa.Column("cell_id", OpaqueId(), nullable=True),
        sa.Column("checklist_id", OpaqueId(), nullable=True),
        sa.Column("points", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("signed_at", UtcTime(), nullable=False),
        sa.Column("received_at", UtcTime(), nullable=False),
        sa.Column("device_at", UtcTime(), nullable=True),
        sa.Column("signed_by", OpaqueId(), nullable=False),
        sa.CheckConstraint("signed_at <= received_at", name="never_ahead"),
        _refers("safety_signing", "ticket_id", "ticket.id"),
        _refers("safety_signing", "cell_id", "cell.id"),
        _refers("safety_signing", "checklist_id", "safety_checklist.id"),
        _refers("safety_signing", "signed_by", "staff.id"),
        sa.PrimaryKeyConstraint("id", name="pk_safety_signing"),
        sqlite_strict=True,
    )
    op.create_index("ix_safety_signing_ticket_id_signed_at", "safety_signing", ["ticket_id", "signed_at"])
    op.execute(
        "INSERT INTO safety_signing (id, ticket_id, points, note, signed_at, received_at, signed_by) "
        "SELECT id, id, '[]', '', safety_checked_at, safety_checked_at, safety_checked_by "
        "FROM ticket WHERE safety_checked_at IS NOT NULL"
    )


def _make_photos() -> None:
    op.create_table(
        "picture",
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("width_px", whole(), nullable=False),
        sa.Column("height_px", whole(), nullable=False),
        sa.Column("jpeg", blob(), nullable=False),
        sa.Column("thumbnail", blob(), nullable=False),
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.CheckConstraint("length(sha256) BETWEEN 64 AND 64", name="sha256_length"),
        sa.CheckConstraint("width_px > 0", name="width_px_positive"),
        sa.CheckConstraint("height_px > 0", name="height_px_positive"),
        sa.PrimaryKeyConstraint("sha256", name="pk_picture"),
        sqlite_strict=True,
    )
    op.create_table(
        "ticket_photo",
        sa.Column("id", OpaqueId(), nullable=False),
        sa.Column("ticket_id", OpaqueId(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("sent_sha256", sa.Text(), nullable=False),
        sa.Column("file_name", sa.Text(), nullable=False),
        sa.Column("caption", sa.Text(), nullable=False),
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.Column("made_by", OpaqueId(), nullable=False),
        sa.Column("set_aside_at", UtcTime(), nullable=True),
        sa.Column("set_aside_by", OpaqueId(), nullable=True),
        sa.Column("set_aside_reason", sa.Text(), nullable=True),
        sa.Column("version", whole(), nullable=False),
        sa.CheckConstraint("length(sent_sha256) BETWEEN 64 AND 64", name="sent_sha256_length"),
        sa.CheckConstraint("(set_aside_at IS NULL) = (set_aside_reason IS NULL)", name="reason_when_set_aside"),
        sa.CheckConstraint("(set_aside_at IS NULL) = (set_aside_by IS NULL)", name="person_when_set_aside"),
        sa.CheckConstraint("version > 0", name="version_positive"),
        _refers("ticket_photo", "ticket_id", "ticket.id"),
        _refers("ticket_photo", "sha256", "picture.sha256"),
        _refers("ticket_photo", "made_by", "staff.id"),
        _refers("ticket_photo", "set_aside_by", "staff.id"),
        sa.PrimaryKeyConstraint("id", name="pk_ticket_photo"),
        sa.UniqueConstraint("ticket_id", "sha256", name="uq_ticket_photo_ticket_id_sha256"),
        sqlite_strict=True,
    )
    op.create_index("ix_ticket_photo_sha256", "ticket_photo", ["sha256"])


NEW_CHECKS = {
    "waiver_version_with_its_name": "waiver_version_id IS NULL OR waiver_at IS NOT NULL",
    "fuel_eighths_real": "fuel_eighths BETWEEN 0 AND 8",
    "key_count_not_negative": "key_count >= 0",
}
NEW_WORDS = ("tyre_condition", "tyre_pressures", "tyre_age", "keys_where", "arrival_notes")
NEW_REFERENCE = "fk_ticket_waiver_version_id_waiver_text"


def _change_ticket() -> None:
    """What the desk notes down comes in; the single tick for the safety check goes, now that it is a signing."""
    if op.get_bind().dialect.name == "sqlite":
        _rebuild_ticket()
        return
    op.add_column("ticket", sa.Column("waiver_version_id", OpaqueId(), nullable=True))
    for name in ("fuel_eighths", "key_count"):
        op.add_column("ticket", sa.Column(name, whole(), nullable=True))
    for name in NEW_WORDS:
        op.add_column("ticket", sa.Column(name, sa.Text(), nullable=True))
    for name, condition in NEW_CHECKS.items():
        op.create_check_constraint(op.f(f"ck_ticket_{name}"), "ticket", condition)
    op.create_foreign_key(NEW_REFERENCE, "ticket", "waiver_text", ["waiver_version_id"], ["id"], ondelete="RESTRICT")
    for name in ("safety_checked_by", "safety_checked_at"):
        op.drop_column("ticket", name)  # its rules go with it


def _rebuild_ticket() -> None:
    """SQLite drops no column that a CHECK speaks of: the table is made again, line by line but for what changes."""
    connection = op.get_bind()
    asked = "SELECT sql FROM sqlite_master WHERE tbl_name = 'ticket' AND type = '{}' AND sql IS NOT NULL"
    before = connection.exec_driver_sql(asked.format("table")).scalar_one()
    indexes = connection.exec_driver_sql(asked.format("index")).scalars().all()
    inside = before[before.index("(") + 1 : before.rindex(")")]
    lines = [line.strip().rstrip(",").strip() for line in inside.splitlines() if line.strip()]
    kept = [line for line in lines if "safety_check" not in line]
    if len(lines) - len(kept) != 4:
        raise RuntimeError("the table ticket is not as the first migration made it")
    columns = [line for line in kept if not line.startswith(("CONSTRAINT", "FOREIGN", "UNIQUE", "PRIMARY", "CHECK"))]
    names = ", ".join(line.split()[0] for line in columns)
    columns += ["waiver_version_id INTEGER", "fuel_eighths INTEGER", "key_count INTEGER"]
    columns += [f"{name} TEXT" for name in NEW_WORDS]
    rules = [line for line in kept if line not in columns]
    rules += [f"CONSTRAINT ck_ticket_{name} CHECK ({condition})" for name, condition in NEW_CHECKS.items()]
    refers = "FOREIGN KEY(waiver_version_id) REFERENCES waiver_text (id) ON DELETE RESTRICT"
    rules.append(f"CONSTRAINT {NEW_REFERENCE} {refers}")
    connection.exec_driver_sql(f"CREATE TABLE ticket_anew ({', '.join([*columns, *rules])}) STRICT")
    connection.exec_driver_sql(f"INSERT INTO ticket_anew ({names}) SELECT {names} FROM ticket")  # noqa: S608
    connection.exec_driver_sql("DROP TABLE ticket")
    connection.exec_driver_sql("ALTER TABLE ticket_anew RENAME TO ticket")
    for statement in indexes:
        connection.exec_driver_sql(statement)


def _refers(table: str, column: str, to: str) -> sa.ForeignKeyConstraint:
    target, _, _ = to.partition(".")
    return sa.ForeignKeyConstraint([column], [to], name=f"fk_{table}_{column}_{target}", ondelete="RESTRICT")
