"""Rows by the hundred thousand into either engine: one prepared statement on SQLite, COPY on PostgreSQL.

Constraints and guards stand as they do for everybody; only the way through the library for each row is left out.
"""

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from itertools import islice
from typing import Any

from sqlalchemy import Connection, Table

from pullbook.db.connect import Database

AT_ONCE = 20_000
Row = tuple[Any, ...]


class Pouring:
    """One transaction's worth of rows on the way in."""

    def __init__(self, connection: Connection) -> None:
        self.connection = connection
        self.is_sqlite = connection.dialect.name == "sqlite"

    def rows(self, model: Any, names: Sequence[str], rows: Iterable[Row]) -> int:
        """Insert rows of plain values in the order of `names`; other columns take their defaults. How many went in."""
        return self.rows_of(model.__table__, names, rows)

    def rows_of(self, table: Table, names: Sequence[str], rows: Iterable[Row], *, named: str = "") -> int:
        """The same for a bare table; with a name, into another table that takes only these of its columns."""
        given = [table.c[name] for name in names]
        constant = {
            column: column.default.arg
            for column in table.columns
            if not named
            and column not in given
            and not column.nullable
            and column.default is not None
            and column.default.is_scalar
        }
        columns = [*given, *constant]
        stored = [self._binder(column) for column in columns]
        rest = tuple(constant.values())
        converted = (
            tuple(bind(value) if bind else value for bind, value in zip(stored, (*row, *rest), strict=True))
            for row in rows
        )
        return self._send(named or table.name, [column.name for column in columns], converted)

    def _binder(self, column: Any) -> Any:
        return column.type.dialect_impl(self.connection.dialect).bind_processor(self.connection.dialect)

    def _send(self, table: str, names: Sequence[str], rows: Iterator[Row]) -> int:
        named = ", ".join(f'"{name}"' for name in names)
        cursor = self.connection.connection.cursor()
        count = 0
        if self.is_sqlite:
            statement = f'INSERT INTO "{table}" ({named}) VALUES ({", ".join("?" * len(names))})'
            while batch := list(islice(rows, AT_ONCE)):
                cursor.executemany(statement, batch)
                count += len(batch)
            return count
        with cursor.copy(f'COPY "{table}" ({named}) FROM STDIN') as copy:
            for row in rows:
                copy.write_row(row)
                count += 1
        return count


@contextmanager
def pouring(database: Database) -> Iterator[Pouring]:
    """A transaction that rows are poured into; all of them or none."""
    with database.writer.begin() as connection:
        if not database.is_sqlite:
            # nothing is known yet of tables that fill in this very transaction: triggers would read them end to end
            for way in ("seqscan", "bitmapscan", "sort"):
                connection.exec_driver_sql(f"SET LOCAL enable_{way} = off")
        yield Pouring(connection)


def renew_statistics(database: Database) -> None:
    """What the planner knows of the tables, after so many rows at once."""
    with database.writer.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.exec_driver_sql("ANALYZE" if database.is_sqlite else "VACUUM ANALYZE")
