"""Somebody guesses the addresses of results: the study of it in small, so that it stays true."""

import secrets
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from pullbook.errors import NotFound
from pullbook.shop.opening import live_link
from tests.api.pull_files import Steady, filed
from tests.studies.guessing import study


@pytest.fixture
def found(tmp_path: Path) -> tuple[dict[str, set[object]], dict[str, list[float]], list[int]]:
    return study(80, tmp_path)


def test_no_guess_is_answered_otherwise_than_another_and_the_limit_shuts_out_no_good_link(found) -> None:
    answers, seconds, statuses = found
    assert {kind: len(times) for kind, times in seconds.items()} == dict.fromkeys(answers, 20)
    assert len(set().union(*answers.values())) == 1
    burst, good = statuses[:-1], statuses[-1]
    assert burst[0] == 404
    assert burst[-1] == 429
    assert good == 200


def test_a_token_of_nobody_reads_as_many_rows_as_one_that_ended(app: Any, tuner: Any, house: Any, now: Any) -> None:
    pull = filed(tuner, house, Steady(gain_rad_s2=8.0).csv())["id"]
    asked = {"pull_ids": [pull], "standard": "iso_1585", "days": 1}
    made = [tuner.post(f"/api/v1/tickets/{house.ticket_id}/results-links", json=asked).json() for _ in range(2)]
    tuner.delete(f"/api/v1/results-links/{made[1]['id']}")
    over = [one["url"].rpartition("/r/")[2] for one in made]
    now.advance(days=2)
    asked_of: list[tuple[str, Any]] = []

    def heard(_connection: Any, _cursor: Any, statement: str, parameters: Any, *_: Any) -> None:
        if statement.startswith("SELECT"):
            asked_of.append((statement, parameters))

    with app.state.database.reading() as session:
        sa.event.listen(session.get_bind(), "before_cursor_execute", heard)
        for token in (*over, *(secrets.token_urlsafe(32) for _ in range(8))):
            with pytest.raises(NotFound):
                live_link(session, token, now.value)
        sa.event.remove(session.get_bind(), "before_cursor_execute", heard)
        rows = [session.connection().exec_driver_sql(*one).all() for one in asked_of]
    assert len({statement for statement, _ in asked_of}) == 1
    assert [len(one) for one in rows] == [1] * 10
