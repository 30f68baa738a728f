"""The demo's checklists: signed before the first pull of each day, but for the stories that show what comes of none."""

from datetime import UTC, datetime

import pytest

from seed_demo.plans import Job, Year
from seed_demo.story_signing import BEFORE_FIRST, UNSIGNED, check_in, first_of_each_day, sign_for
from seed_demo.year import the_year


class Listening:
    """Takes what would be sent, and answers as a shop without any signing."""

    def __init__(self) -> None:
        self.sent: list[tuple[str, dict]] = []

    def get(self, path: str, **query: object) -> dict:
        return {"items": [{"id": "x", "points": ["Straps", "Cooling: on"]}] if path == "/checklists" else []}

    def post(self, path: str, body: dict) -> dict:
        self.sent.append((path, body))
        return {}

    patch = post


@pytest.fixture(scope="module")
def year() -> Year:
    return the_year(datetime(2026, 3, 10, 14, 20, tzinfo=UTC))


def _signed(job: Job) -> list[dict]:
    tuner = Listening()
    sign_for(tuner, job, "ticket", "cell")  # type: ignore[arg-type]
    return [body for _, body in tuner.sent]


def test_every_pull_of_a_signed_story_has_a_signing_before_it(year: Year) -> None:
    for job in year.jobs:
        times = [datetime.fromisoformat(body["paper_at"]) for body in _signed(job)]
        if job.key in UNSIGNED:
            assert times == []
            assert job.setups, f"{job.key} shows nothing"
            continue
        firsts = list(first_of_each_day(job))
        assert times == [first - BEFORE_FIRST for first in firsts]
        for taken in (pull.taken_at for setup in job.setups for pull in setup.pulls):
            assert any(at < taken for at in times), job.key
        assert all(at < year.began_at for at in times)


def test_every_point_is_ticked_or_has_a_word(year: Year) -> None:
    points = [point for job in year.jobs for body in _signed(job) for point in body["points"]]
    assert all(point["done"] or point["note"] for point in points)
    assert any(not point["done"] for point in points)


def test_cars_that_came_are_noted_and_those_to_come_are_not(year: Year) -> None:
    for job in year.jobs:
        desk = Listening()
        check_in(desk, job, {"id": "ticket", "version": 3, "key_count": None})  # type: ignore[arg-type]
        assert bool(desk.sent) == (job.plan.state not in ("booked", "cancelled")), job.key
        for _, body in desk.sent:
            assert 0 <= body["fuel_eighths"] <= 8
            assert body["version"] == 3
