"""The statements that a piece of work sends, and these alone once more: what the database needs and nothing around it.

They go through the same driver and connection as before, so that a plan which is kept or not is kept or not here too.
"""

from collections.abc import Callable, Sequence
from typing import Any

from sqlalchemy import event
from sqlalchemy.orm import Session

Statement = tuple[str, Any]


def statements_of(session: Session, work: Callable[[], Any]) -> list[Statement]:
    """What this work sends on this session's connection, with the values as the driver is given them."""
    sent: list[Statement] = []

    def note(_connection: Any, _cursor: Any, statement: str, values: Any, _context: Any, _many: bool) -> None:
        sent.append((statement, values))

    connection = session.connection()
    event.listen(connection, "before_cursor_execute", note)
    try:
        work()
    finally:
        event.remove(connection, "before_cursor_execute", note)
    return sent


def bare(session: Session, statements: Sequence[Statement]) -> Callable[[], int]:
    """These statements alone, every row fetched; how many rows there were."""
    connection = session.connection().connection

    def run() -> int:
        cursor = connection.cursor()
        rows = 0
        for statement, values in statements:
            cursor.execute(statement, values)
            rows += len(cursor.fetchall())
        cursor.close()
        return rows

    return run
