"""What tests of the API ask for besides: every statement that the service sends to its database."""

from collections.abc import Iterator
from typing import Any

import pytest
from sqlalchemy import event


@pytest.fixture
def statements(app: Any) -> Iterator[list[str]]:
    """The statements sent from here on; clear the list to count anew."""
    sent: list[str] = []

    def note(_connection: Any, _cursor: Any, statement: str, *_rest: Any) -> None:
        if not statement.startswith("BEGIN"):
            sent.append(statement)

    engines = (app.state.database.reader, app.state.database.writer)
    for engine in engines:
        event.listen(engine, "before_cursor_execute", note)
    yield sent
    for engine in engines:
        event.remove(engine, "before_cursor_execute", note)
