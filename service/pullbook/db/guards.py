"""Triggers that keep evidence as it was written: no update, no delete, no replacing, on SQLite and PostgreSQL.

A migration that rebuilds a guarded table loses its triggers with it, and must set them again: `missing_guards` tells.
"""

from collections.abc import Mapping, Sequence

from sqlalchemy import Connection, text

KEYS: dict[str, tuple[tuple[str, ...], ...]] = {
    # every key by which INSERT OR REPLACE could push out a row that is there
    "raw_file": (("sha256",), ("rowid",)),
    "column_block": (("sha256",), ("rowid",)),
    "audit_entry": (("number",), ("hash",), ("previous_hash",)),
    "chain_entry": (("number",), ("head",), ("previous",), ("kind", "record_id")),
    "chain_key": (("id",),),
    "signed_head": (("day",),),
    "ticket_step": (("id",),),
    "waiver_text": (("id",), ("number",)),
    "safety_checklist": (("id",), ("number",)),
    "safety_signing": (("id",),),
    "calibration": (("id",),),
    "weather_reading": (("id",), ("supersedes_id",)),
    "channel_map": (("id",), ("name",)),
    "calibration_evidence": (("id",),),
    "calibration_basis": (("calibration_id", "evidence_id"),),
    "joined_file": (("id",), ("pull_id", "sha256")),
    "tray_file": (("id",), ("cell_id", "sha256")),
    "pull": (("id",), ("ticket_id", "sha256")),
    "results_link": (("id",), ("token_hash",)),
    "erasure": (("id",),),
}
SAID = "is kept as it was written"


def guard_statements(dialect: str, table: str, columns: Sequence[str] | None) -> list[str]:
    """What sets the guards of one table. `columns` are those that never change; None means the whole row."""
    return _sqlite(table, columns) if dialect == "sqlite" else _postgres(table, columns)


def _sqlite(table: str, columns: Sequence[str] | None) -> list[str]:
    refuse = f"SELECT RAISE(ABORT, '{table} {SAID}')"
    changed = " OR ".join(f"NEW.{name} IS NOT OLD.{name}" for name in columns) if columns else "1"
    there = " OR ".join(
        f"EXISTS (SELECT 1 FROM {table} WHERE {' AND '.join(f'{name} = NEW.{name}' for name in key)})"  # noqa: S608
        for key in KEYS[table]
    )
    return [
        f"CREATE TRIGGER guard_{table}_update BEFORE UPDATE ON {table} WHEN {changed} BEGIN {refuse}; END",
        f"CREATE TRIGGER guard_{table}_delete BEFORE DELETE ON {table} BEGIN {refuse}; END",
        # INSERT OR REPLACE asks no delete trigger on a connection that has not set recursive_triggers
        f"CREATE TRIGGER guard_{table}_insert BEFORE INSERT ON {table} WHEN {there} BEGIN "
        f"SELECT RAISE(ABORT, 'UNIQUE constraint failed: {table} {SAID}'); END",
    ]


def _postgres(table: str, columns: Sequence[str] | None) -> list[str]:
    changed = " OR ".join(f"NEW.{name} IS DISTINCT FROM OLD.{name}" for name in columns) if columns else "true"
    wanted = (
        ("update", f"BEFORE UPDATE ON {table} FOR EACH ROW WHEN ({changed})"),
        ("delete", f"BEFORE DELETE ON {table} FOR EACH ROW"),
        ("truncate", f"BEFORE TRUNCATE ON {table} FOR EACH STATEMENT"),
    )
    statements = []
    for name, when in wanted:
        trigger = f"guard_{table}_{name}"
        statements.append(f"CREATE TRIGGER {trigger} {when} EXECUTE FUNCTION pullbook_guard()")
        # also for sessions that say they only replay what another server has checked
        statements.append(f"ALTER TABLE {table} ENABLE ALWAYS TRIGGER {trigger}")
    return statements


POSTGRES_FUNCTION = f"""
CREATE FUNCTION pullbook_guard() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  RAISE EXCEPTION '% {SAID}', TG_TABLE_NAME USING ERRCODE = 'integrity_constraint_violation';
END $$
"""


def missing_guards(connection: Connection, guarded: Mapping[str, Sequence[str] | None]) -> list[str]:
    """The triggers that should be in the database and are not."""
    if connection.dialect.name == "sqlite":
        asked, last = "SELECT name FROM sqlite_master WHERE type = 'trigger'", "insert"
    else:
        asked, last = "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled = 'A'", "truncate"
    there = set(connection.execute(text(asked)).scalars())
    wanted = [f"guard_{table}_{name}" for table in guarded for name in ("update", "delete", last)]
    return [name for name in wanted if name not in there]
