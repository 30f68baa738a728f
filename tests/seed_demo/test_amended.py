"""The demo's amended and its re-issued results: made from what is on record, and of jobs that are published."""

from datetime import UTC, datetime

import pytest

from seed_demo.story_amended import AMENDED, READ_TOO_COOL_K, SAID_AGAIN, SOURCE, corrected_reading
from seed_demo.year import the_year

READING = {
    "id": "0123456789abc",
    "cell_id": "0123456789abd",
    "read_at": "2026-03-10T09:00:00+01:00",
    "air_temperature_c": 18.5,
    "station_pressure_kpa": 99.6,
    "source": "Cell instrument",
}


@pytest.mark.parametrize("key", [AMENDED, SAID_AGAIN])
def test_it_is_about_a_job_whose_customer_has_a_link(key: str) -> None:
    (job,) = (job for job in the_year(datetime(2026, 11, 25, 14, 20, tzinfo=UTC)).jobs if job.key == key)
    assert job.plan.link_note
    assert len(job.setups) == 2


@pytest.mark.parametrize(("kind", "field"), [("relative_pct", "relative_humidity_pct"), ("dew_point_c", "dew_point_c")])
def test_a_correction_takes_the_old_readings_place_and_changes_its_temperature_alone(kind: str, field: str) -> None:
    told = corrected_reading({**READING, "humidity_kind": kind, "humidity_value": 9.0})
    assert (told["supersedes_id"], told["source"]) == (READING["id"], SOURCE)
    assert told["air_temperature_c"] == pytest.approx(18.5 + READ_TOO_COOL_K)
    assert (told[field], told["station_pressure_kpa"], told["read_at"]) == (9.0, 99.6, READING["read_at"])
