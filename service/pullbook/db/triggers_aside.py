"""Triggers taken off while a backup is loaded, and put back as they were, all within the transaction that is open.

Guards would refuse to replace the rows that migrating made, and what finds is carried with the records.
"""

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import Connection, text

_SQLITE_TRIGGERS = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' ORDER BY name"
_POSTGRES_TRIGGERS = (
    "SELECT tgrelid::regclass::text AS on_table, tgname AS name, tgenabled::text AS enabled FROM pg_trigger "
    "JOIN pg_class ON pg_class.oid = tgrelid "
    "WHERE NOT tgisinternal AND relnamespace = current_schema()::regnamespace ORDER BY 1, 2"
)
# a table whose rows name rows of the same table: they may come in any order
_POSTGRES_OWN_REFERENCES = (
    "SELECT conrelid::regclass::text AS on_table, conname AS name FROM pg_constraint "
    "WHERE contype = 'f' AND conrelid = confrelid AND NOT condeferrable "
    "AND connamespace = current_schema()::regnamespace"
)
_ENABLE = {"O": "ENABLE", "A": "ENABLE ALWAYS", "R": "ENABLE REPLICA", "D": "DISABLE"}


class TriggersError(RuntimeError):
    """The triggers did not come back as they were; the transaction must not be kept."""


@contextmanager
def triggers_aside(connection: Connection) -> Iterator[None]:
    """No trigger of ours acts inside the block. TriggersError where they are not as before after it."""
    before = _triggers(connection)
    aside, back = (_sqlite if connection.dialect.name == "sqlite" else _postgres)(connection)
    for statement in aside:
        connection.exec_driver_sql(statement)
    yield
    for statement in back:
        connection.exec_driver_sql(statement)
    if _triggers(connection) != before:
        raise TriggersError("the triggers of the database are not as they were")


def _triggers(connection: Connection) -> list[tuple[str, ...]]:
    asked = _SQLITE_TRIGGERS if connection.dialect.name == "sqlite" else _POSTGRES_TRIGGERS
    return [tuple(row) for row in connection.execute(text(asked))]


def _sqlite(connection: Connection) -> tuple[list[str], list[str]]:
    there = _triggers(connection)
    # the word index is told everything at once, since nothing told it row by row
    again = "INSERT INTO found_words (found_words) VALUES ('rebuild')"
    return [f'DROP TRIGGER "{name}"' for name, _ in there], [again, *(made for _, made in there)]


def _postgres(connection: Connection) -> tuple[list[str], list[str]]:
    there = connection.execute(text(_POSTGRES_TRIGGERS)).all()
    own = connection.execute(text(_POSTGRES_OWN_REFERENCES)).all()
    late = [f'ALTER TABLE {row.on_table} ALTER CONSTRAINT "{row.name}"' for row in own]
    aside = [f'ALTER TABLE {row.on_table} DISABLE TRIGGER "{row.name}"' for row in there]
    back = [f'ALTER TABLE {row.on_table} {_ENABLE[row.enabled]} TRIGGER "{row.name}"' for row in there]
    return (
        [*aside, *(f"{one} DEFERRABLE INITIALLY DEFERRED" for one in late)],
        ["SET CONSTRAINTS ALL IMMEDIATE", *(f"{one} NOT DEFERRABLE" for one in late), *back],
    )
