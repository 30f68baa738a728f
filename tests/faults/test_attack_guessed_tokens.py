"""Somebody guesses the addresses of results: the study of it in small, so that it stays true."""

from pathlib import Path

import pytest

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
