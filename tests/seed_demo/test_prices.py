"""The demo's price list, and what its tickets came to."""

from collections import Counter
from datetime import UTC, datetime

import pytest

from seed_demo.plans import Year
from seed_demo.story_calibration import reference_jobs
from seed_demo.story_prices import ITEMS, PART_PAID, RETURNING, UNPAID, payment_of, sold
from seed_demo.year import the_year


@pytest.fixture(scope="module")
def year() -> Year:
    return the_year(datetime(2026, 3, 10, 14, 20, tzinfo=UTC))


def test_it_sells_nothing_that_is_not_on_its_list(year: Year) -> None:
    listed = {item.key for item in ITEMS}
    assert {key for job in year.jobs for key, _ in sold(job)} <= listed
    assert len({item.name for item in ITEMS}) == len(listed) == len(ITEMS)


def test_it_charges_every_car_that_was_pulled_but_the_house_car(year: Year) -> None:
    for job in year.jobs:
        if job.setups:
            assert next(sold(job), None) is not None, job.key
    assert not any(True for job in reference_jobs(year) for _ in sold(job))


def test_it_takes_money_in_most_months_for_several_kinds_of_work(year: Year) -> None:
    kind = {item.key: item.kind_of_work for item in ITEMS}
    kinds = Counter(kind[key] for job in year.jobs for key, _ in sold(job))
    assert set(kinds) == {"measuring", "diagnosis", "tuning", "fitting", "service"}
    paid = [job for job in year.jobs if payment_of(job, 10000) is not None]
    assert len({job.moved_at["collected"].month for job in paid}) >= 10


def test_it_has_tickets_paid_part_paid_and_owing(year: Year) -> None:
    keys = {job.key: job for job in year.jobs}
    for key in (*PART_PAID, *UNPAID, *RETURNING):
        assert keys[key].plan.state == "collected", key
    assert all((payment_of(keys[key], 10001) or {})["amount_cents"] == 5000 for key in PART_PAID)
    assert all(payment_of(keys[key], 10001) is None for key in UNPAID)
    assert all(payment_of(job, 10001) is None for job in year.jobs if job.plan.state != "collected")


def test_nobody_pays_before_the_car_is_collected_or_ahead_of_today(year: Year) -> None:
    for job in year.jobs:
        payment = payment_of(job, 10000)
        if payment is not None:
            assert job.moved_at["in_cell"] <= datetime.fromisoformat(payment["paid_at"]) <= year.began_at
