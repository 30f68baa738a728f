"""A reference car is pulled every so often, and says of each cell whether it is steady."""

from datetime import datetime, timedelta

import pytest

from tests.api.pull_files import Steady, filed
from tests.furnishing import CALIBRATION, START, made

GAINS = (8.0, 8.05, 7.97, 8.02, 7.99, 8.01)  # rad/s² of each visit: a car that repeats within half a per cent


@pytest.fixture
def car(tuner, house):
    asked = {"vehicle_id": house.vehicle_id, "name": "The old Stilt", "band_low_rpm": 2200.0, "band_high_rpm": 4800.0}
    return made(tuner.post("/api/v1/reference-cars", json={**asked, "first_pulls": 5}))


def _visit(client, house, weeks_ago, gain, **changes):
    at = START - timedelta(weeks=weeks_ago)
    told = {"taken_at": at.isoformat(), "file_name": f"{weeks_ago} {gain}.csv", **changes}
    return filed(client, house, Steady(gain_rad_s2=gain).csv(), **told)


def _watched(client, car):
    answer = client.get(f"/api/v1/reference-cars/{car['id']}")
    assert answer.status_code == 200, answer.text
    return answer.json()


def test_a_car_that_repeats_finds_the_cell_steady(tuner, desk, house, car):
    for place, gain in enumerate(GAINS):
        _visit(tuner, house, 8 - place, gain)
    (chart,) = _watched(desk, car)["charts"]
    assert chart["is_steady"] is True
    assert len(chart["visits"]) == 6
    powers = [visit["power_w"] for visit in chart["visits"]]
    ranges = [abs(one - other) for one, other in zip(powers[1:5], powers[:4], strict=True)]
    assert chart["limits"]["centre_w"] == pytest.approx(sum(powers[:5]) / 5, abs=0.1)
    assert chart["limits"]["upper_w"] - chart["limits"]["centre_w"] == pytest.approx(
        3 * sum(ranges) / 4 / 1.128, abs=0.3
    )


def test_a_visit_far_below_is_named_with_its_rule_and_what_to_do(tuner, desk, house, car):
    for place, gain in enumerate((*GAINS, 7.4)):
        _visit(tuner, house, 8 - place, gain)
    told = _watched(desk, car)
    last = told["charts"][0]["visits"][-1]
    assert "rule 1" in last["out_of_control"]
    assert told["charts"][0]["is_steady"] is False
    assert "coast the bare rollers down" in told["to_do"]


def test_pulls_of_one_day_are_one_visit_and_those_set_aside_are_none(tuner, desk, house, car):
    first = _visit(tuner, house, 4, 8.0)
    again = _visit(tuner, house, 4, 8.1)
    aside = _visit(tuner, house, 4, 5.0)
    assert tuner.post(f"/api/v1/pulls/{aside['id']}/set-aside", json={"reason": "slipped"}).status_code == 201
    (chart,) = _watched(desk, car)["charts"]
    assert [sorted(visit["pull_ids"]) for visit in chart["visits"]] == [sorted([first["id"], again["id"]])]
    assert chart["limits"] is None
    assert "1 points are there and 5" in chart["waits"]


@pytest.mark.parametrize(
    ("minutes", "visits"),
    [((-10, 10), 1), ((-70, -50), 2)],  # of midnight UTC; the shop's clock, Vienna's in winter, is an hour ahead
)
def test_a_day_is_one_of_the_shops_clock(tuner, desk, house, car, minutes, visits):
    midnight = START.replace(hour=0)
    for place, at in enumerate(minutes):
        taken = midnight + timedelta(minutes=at)
        filed(tuner, house, Steady(gain_rad_s2=8.0 + 0.1 * place).csv(), taken_at=taken.isoformat())
    (chart,) = _watched(desk, car)["charts"]
    assert len(chart["visits"]) == visits


def test_a_pull_short_of_the_band_is_left_out_and_said(tuner, desk, house, car):
    short = filed(tuner, house, Steady(seconds=3.0).csv())
    told = _watched(desk, car)
    assert [one["pull_id"] for one in told["left_out"]] == [short["id"]]


def test_two_cells_are_held_against_each_other(tuner, owner, desk, house, car):
    other = made(
        owner.post("/api/v1/cells", json={"name": "Hill", "drive": "two_wheel", "has_brake": False, "altitude_m": 120})
    )
    made(owner.post(f"/api/v1/cells/{other['id']}/calibrations", json={**CALIBRATION, "inertia_kg_m2": 4.41}))
    for weeks_ago in (1, 2, 3, 4, 5, 6):
        weather = {
            "air_temperature_c": 18.5,
            "station_pressure_kpa": 99.6,
            "relative_humidity_pct": 46.0,
            "source": "wall",
        }
        at = START - timedelta(weeks=weeks_ago, minutes=5)
        for cell_id in (house.cell_id, other["id"]):
            made(desk.post("/api/v1/weather", json={"cell_id": cell_id, "read_at": at.isoformat(), **weather}))
    for place, gain in enumerate(GAINS):
        _visit(tuner, house, 6 - place, gain)
        _visit(tuner, house, 6 - place, gain + 1e-4, cell_id=other["id"])
    (apart,) = _watched(desk, car)["cells_apart"]
    assert apart["kind"] == "different"
    assert abs(apart["difference_pct"]) == pytest.approx(4.5, abs=0.6)  # of the inertial part, 5 % more inertia
    assert abs(apart["difference_pct"]) > apart["half_pct"]
    assert "calibration changed" not in apart["words"]
    since = (START - timedelta(weeks=3, days=1)).isoformat()
    made(owner.post(f"/api/v1/cells/{other['id']}/calibrations", json={**CALIBRATION, "valid_from": since}))
    (apart,) = _watched(desk, car)["cells_apart"]
    assert "Hill's calibration changed on 16 Feb 2026" in apart["words"]
    assert "Cell one's" not in apart["words"]


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"vehicle_id": "0123456789abc"}, "vehicle_id"),
        ({"standard": "none_such"}, "standard"),
        ({"band_high_rpm": 2000.0}, "band_high_rpm"),
        ({"first_pulls": 2}, "first_pulls"),
        ({"name": ""}, "name"),
    ],
)
def test_what_cannot_be_a_reference_is_refused_by_field(tuner, house, changes, field):
    asked = {
        "vehicle_id": house.vehicle_id,
        "name": "Stilt",
        "band_low_rpm": 2200.0,
        "band_high_rpm": 4800.0,
        **changes,
    }
    answer = tuner.post("/api/v1/reference-cars", json=asked)
    assert answer.status_code == 422
    assert field in str(answer.json()["problems"])


def test_one_car_is_one_reference(tuner, house, car):
    asked = {"vehicle_id": house.vehicle_id, "name": "Again", "band_low_rpm": 2200.0, "band_high_rpm": 4800.0}
    answer = tuner.post("/api/v1/reference-cars", json=asked)
    assert answer.status_code == 409
    assert "The old Stilt" in answer.json()["detail"]


def test_it_is_changed_retired_and_taken_back(tuner, desk, now, car):
    path = f"/api/v1/reference-cars/{car['id']}"
    retired = tuner.patch(path, json={"version": 1, "retired": True, "note": "sold"}).json()
    assert datetime.fromisoformat(retired["retired_at"]) == now.value
    assert tuner.patch(path, json={"version": 1, "name": "x"}).status_code == 409
    assert tuner.patch(path, json={"version": 2, "band_low_rpm": 5000.0}).status_code == 422
    back = tuner.patch(path, json={"version": 2, "retired": False}).json()
    assert back["retired_at"] is None
    assert [one["name"] for one in desk.get("/api/v1/reference-cars").json()["items"]] == ["The old Stilt"]
