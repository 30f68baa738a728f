"""What a backup carries of each table, and how a row becomes a line: the same bytes from SQLite and PostgreSQL.

A part is lines of JSON in UTF-8. The first names the columns; each other one is a row, in the order of the primary
key. Ids are their 13 letters, instants end in Z, bytes are base64, small JSON values are the very text that is stored.
"""

import base64
import json
from collections.abc import Generator, Iterable, Sequence
from datetime import UTC, datetime
from functools import cached_property
from typing import Any

import sqlalchemy as sa
from sqlalchemy import Connection

# named, so that their tables stand in the metadata whoever asks for it
from pullbook.db import arrival, chain, found, joined, leaving, money, months, senders, tuning
from pullbook.db.people import Invitation, SignIn, Tries
from pullbook.db.schema import Table
from pullbook.db.stored_types import JsonText, UtcTime
from pullbook.late_methods import dataclass

_DECLARED = (arrival, chain, found, joined, leaving, money, months, senders, tuning)
# what opens doors for a while, and what is empty between transactions: after a restore everybody signs in anew
LEFT_OUT = frozenset(kind.__tablename__ for kind in (SignIn, Invitation, Tries, found.FoundLate))
SEEDED = frozenset({"months_kept", "safety_checklist", "waiver_text"})  # migrating puts one row into each
_LINE_ENDS = b"\n"
_ROWS_AT_ONCE, _BLOBS_AT_ONCE = 1000, 20
_BYTES_AT_ONCE = 8_000_000


@dataclass(frozen=True)
class Carried:
    """One table as a part of a backup."""

    table: sa.Table

    @property
    def name(self) -> str:
        """The table's name."""
        return self.table.name

    @cached_property
    def columns(self) -> list[str]:
        """The columns' names in the order in which a line has them."""
        return [column.name for column in self.table.columns]

    @cached_property
    def bare(self) -> Any:
        """The table without defaults; stored JSON is its text, so that it is carried letter for letter."""
        return sa.table(self.name, *(sa.column(one.name, self._type_of(one)) for one in self.table.columns))

    @cached_property
    def has_blobs(self) -> bool:
        """Whether rows of it may be large."""
        return any(isinstance(one.type, sa.LargeBinary) for one in self.table.columns)

    @staticmethod
    def _type_of(column: Any) -> Any:
        return sa.Text() if isinstance(column.type, JsonText) else column.type

    def lines(self, connection: Connection) -> Generator[bytes]:
        """The part's lines, each with its line feed; the columns' names first."""
        yield json.dumps(self.columns, ensure_ascii=False).encode() + _LINE_ENDS
        # by the letters' numbers on both engines, whatever language the database sorts in
        collation = "BINARY" if connection.dialect.name == "sqlite" else "C"
        keys = [
            sa.collate(self.bare.c[one.name], collation) if isinstance(one.type, sa.Text) else self.bare.c[one.name]
            for one in self.table.primary_key.columns
        ]
        at_once = _BLOBS_AT_ONCE if self.has_blobs else _ROWS_AT_ONCE
        asked = sa.select(*self.bare.c).order_by(*keys).execution_options(yield_per=at_once)
        with connection.execute(asked) as rows:
            for row in rows:
                told = json.dumps(list(row), default=_told, ensure_ascii=False, separators=(",", ":"))
                yield told.encode() + _LINE_ENDS

    def fill(self, connection: Connection, lines: Iterable[bytes]) -> None:
        """Insert the rows of a part, its first line left out. ValueError where a line is not as a row should be."""
        insert = sa.insert(self.bare)
        times = [at for at, one in enumerate(self.table.columns) if isinstance(one.type, UtcTime)]
        blobs = [at for at, one in enumerate(self.table.columns) if isinstance(one.type, sa.LargeBinary)]
        waiting: list[dict[str, Any]] = []
        size = 0
        for line in lines:
            waiting.append(self._row(line, times, blobs))
            size += len(line)
            if len(waiting) >= _ROWS_AT_ONCE or size >= _BYTES_AT_ONCE:
                connection.execute(insert, waiting)
                waiting, size = [], 0
        if waiting:
            connection.execute(insert, waiting)

    def _row(self, line: bytes, times: Sequence[int], blobs: Sequence[int]) -> dict[str, Any]:
        row = json.loads(line)
        if not isinstance(row, list) or len(row) != len(self.columns):
            raise ValueError(f"a line of {self.name} is no row of {len(self.columns)} columns")
        if any(not isinstance(row[at], str | None) for at in (*times, *blobs)):
            raise ValueError(f"a line of {self.name} tells a time or bytes by something else than text")
        for at in times:
            row[at] = None if row[at] is None else datetime.fromisoformat(row[at]).astimezone(UTC)
        for at in blobs:
            row[at] = None if row[at] is None else base64.b64decode(row[at], validate=True)
        return dict(zip(self.columns, row, strict=True))

    def count(self, connection: Connection) -> int:
        """How many rows the table has."""
        return int(connection.execute(sa.select(sa.func.count()).select_from(self.table)).scalar_one())


def _told(value: Any) -> str:
    if isinstance(value, datetime):
        return value.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
    if isinstance(value, (bytes, memoryview)):
        return base64.b64encode(value).decode()
    raise TypeError(f"{type(value).__name__} has no place in a backup")


def all_tables() -> list[Carried]:
    """Every table there is, each after those that its rows refer to."""
    return [Carried(table) for table in Table.metadata.sorted_tables]


def carried_tables() -> list[Carried]:
    """Every table that a backup carries, each after those that its rows refer to."""
    return [one for one in all_tables() if one.name not in LEFT_OUT]


def tables_with_records(connection: Connection) -> dict[str, int]:
    """Table → rows, of those that hold something which migrating did not put there."""
    counts = {one.name: one.count(connection) for one in carried_tables()}
    return {name: count for name, count in counts.items() if count > (1 if name in SEEDED else 0)}
