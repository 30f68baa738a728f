"""Long lists: walked back from the newest row along an index, never gathered and sorted for one page."""

from typing import Any

import pytest
from sqlalchemy import Engine, event

from pullbook.db.connect import connect

LISTS = {
    "customers": {},
    "vehicles": {},
    "tickets": {},
    "tickets of a state": {"state": "collected"},
    "weather": {},
    "weather of a cell": {"cell_id": "house"},
    "audit": {},
    "audit of a kind": {"record": "customer"},
    "audit of a record": {"record_id": "house"},
    "audit of a person": {"staff_id": "house"},
    "results-links": {},
    "tray": {},
    "tray settled": {"settled": "true"},
    "archive": {},
    "archive of set aside": {"set_aside": "true"},
    "archive of a cell": {"cell_id": "house"},
    "archive of a kind": {"kind": "sweep"},
    "archive of a model year": {"model_year": 2019},
}


@pytest.fixture
def records(settings: Any) -> Any:
    database = connect(settings.database_url)
    yield database
    database.close()


def _plans(records: Any, ask: Any) -> list[str]:
    """How the engine goes about every statement that puts rows in order while this is asked."""
    asked: list[tuple[str, Any]] = []

    def note(_connection: Any, _cursor: Any, statement: str, parameters: Any, *_rest: Any) -> None:
        asked.append((statement, parameters))

    event.listen(Engine, "before_cursor_execute", note)
    try:
        ask()
    finally:
        event.remove(Engine, "before_cursor_execute", note)
    ordered = [one for one in asked if "ORDER BY" in one[0] and "LIMIT" in one[0]]
    assert ordered, asked
    with records.reading() as session:
        run, words = session.connection().exec_driver_sql, "EXPLAIN QUERY PLAN" if records.is_sqlite else "EXPLAIN"
        for way in () if records.is_sqlite else ("sort", "seqscan", "bitmapscan"):
            run(f"SET enable_{way} = off")  # with a handful of rows it would read and sort them all, rightly
        steps = [row[-1].strip() for statement, given in ordered for row in run(f"{words} {statement}", given)]
        if not records.is_sqlite:
            run("RESET ALL")
        return steps


@pytest.mark.parametrize("name", LISTS)
def test_a_long_list_is_walked_along_an_index(owner: Any, house: Any, records: Any, name: str) -> None:
    asked = {key: house.cell_id if value == "house" else value for key, value in LISTS[name].items()}

    def ask() -> None:
        answer = owner.get(f"/api/v1/{name.split()[0]}", params=asked)
        assert answer.status_code == 200, answer.text

    plans = _plans(records, ask)
    assert not [step for step in plans if "FOR ORDER BY" in step or step.removeprefix("->  ").startswith("Sort  (")], (
        plans
    )
