"""Several processes of the service on one PostgreSQL count tickets as one; the long run is a study of its own."""

from pathlib import Path
from typing import Any

import pytest

from tests.studies.ticket_numbers import open_at_once, without_gap

WORKERS, TICKETS = 4, 100


@pytest.fixture
def engine_name() -> str:
    """Several processes on one file are not what SQLite is for."""
    return "postgresql"


@pytest.fixture
def level() -> str:
    """A shop with a car to open tickets for."""
    return "furnished"


def test_four_processes_at_once_number_tickets_without_gap_or_double(database: Any, tmp_path: Path) -> None:
    opened = open_at_once(database.url, database.house, tmp_path, TICKETS, WORKERS)
    assert len(opened.answered) == TICKETS
    assert opened.refused > WORKERS
    assert without_gap(opened)
