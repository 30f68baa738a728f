"""Comparing pulls: one grid, by setup, differing conditions first, what is set aside left out of the means."""

from typing import Any

import numpy as np
import pytest

from pullbook.pages.summing_up import summaries
from pullbook.shop.comparing import compare
from pullbook.shop.reading import ReadSettings
from tests.api.pull_files import Steady, filed, send_pull
from tests.furnishing import CALIBRATION


@pytest.fixture
def pulls(tuner: Any, house: Any) -> list[str]:
    """Two of the baseline, two of the second setup, each from another speed on."""
    made = []
    for setup_id, gain, start in (
        (house.setup_id, 8.0, 40.0),
        (house.setup_id, 8.1, 42.0),
        (house.second_setup_id, 8.8, 44.0),
        (house.second_setup_id, 8.9, 46.0),
    ):
        data = Steady(gain_rad_s2=gain, start_rad_s=start).csv()
        made.append(filed(tuner, house, data, setup_id=setup_id)["id"])
    return made


def _compare(client: Any, pulls: list[str], **asked: Any) -> dict[str, Any]:
    answer = client.get("/api/v1/comparisons", params={"pull_id": pulls, **asked})
    assert answer.status_code == 200, answer.text
    return answer.json()


def test_every_curve_lies_on_one_grid_and_equals_its_own(tuner: Any, pulls: list[str]) -> None:
    compared = _compare(tuner, pulls)
    grid = compared["engine_speed_rpm"]
    assert grid == sorted(grid)
    for pull in (pull for setup in compared["setups"] for pull in setup["pulls"]):
        curve = tuner.get(f"/api/v1/pulls/{pull['pull_id']}/curve").json()
        on_grid = dict(zip(grid, pull["power_w"], strict=True))
        assert [on_grid.pop(speed) for speed in curve["engine_speed_rpm"]] == curve["power_w"]
        assert set(on_grid.values()) <= {None}
        assert pull["summary"]["headline"] == curve["headline"]
        assert len(pull["channels"]["lambda_measured"]) == len(grid)


def test_it_groups_by_setup_in_the_order_of_positions(tuner: Any, pulls: list[str]) -> None:
    compared = _compare(tuner, pulls[::-1])
    assert [setup["name"] for setup in compared["setups"]] == ["Baseline", "Intake"]
    assert [len(setup["pulls"]) for setup in compared["setups"]] == [2, 2]
    assert compared["conditions"] == []


def test_the_mean_is_of_the_points_that_all_have(tuner: Any, pulls: list[str]) -> None:
    setup = _compare(tuner, pulls)["setups"][0]
    powers = np.array([pull["power_w"] for pull in setup["pulls"]], dtype=float)
    mean = np.array(setup["mean"]["power_w"], dtype=float)
    assert setup["mean"]["counted"] == 2
    assert np.isnan(powers).any()
    np.testing.assert_allclose(mean, powers.mean(axis=0), atol=0.11)
    np.testing.assert_allclose(np.array(setup["mean"]["spread_w"], float), powers.std(axis=0, ddof=1), atol=0.2)


def test_a_pull_set_aside_is_shown_and_left_out_of_the_mean(tuner: Any, pulls: list[str]) -> None:
    tuner.post(f"/api/v1/pulls/{pulls[0]}/set-aside", json={"reason": "Strap came loose"})
    setup = _compare(tuner, pulls)["setups"][0]
    shown = {pull["pull_id"]: pull for pull in setup["pulls"]}
    assert shown[pulls[0]]["set_aside_reason"] == "Strap came loose"
    assert shown[pulls[0]]["counts_in_mean"] is False
    assert shown[pulls[0]]["flags"][0]["code"] == "set_aside"
    assert setup["mean"]["counted"] == 1
    assert setup["mean"]["power_w"] == shown[pulls[1]]["power_w"]


def test_conditions_that_differ_are_said_by_setup(tuner: Any, house: Any, pulls: list[str]) -> None:
    tuner.patch(f"/api/v1/setups/{house.second_setup_id}", json={"version": 1, "gear": "5", "tyre_pressure_kpa": 200})
    conditions = {one["code"]: one for one in _compare(tuner, pulls)["conditions"]}
    assert set(conditions) == {"gear", "tyre_pressure"}
    assert conditions["gear"]["values"] == {house.setup_id: "4", house.second_setup_id: "5"}
    assert conditions["tyre_pressure"]["values"][house.second_setup_id] == "200 kPa"


def test_pulls_of_two_cells_say_so_and_the_uncorrected_ones_count_in_no_mean(
    owner: Any, house: Any, pulls: list[str]
) -> None:
    told = {"name": "Cell two", "drive": "two_wheel", "has_brake": False, "altitude_m": 1680.0}
    cell_id = owner.post("/api/v1/cells", json=told).json()["id"]
    owner.post(f"/api/v1/cells/{cell_id}/calibrations", json=CALIBRATION)
    data = Steady(gain_rad_s2=9.1).csv()
    other = filed(owner, house, data, cell_id=cell_id, setup_id=house.second_setup_id)["id"]
    compared = _compare(owner, [*pulls, other])
    codes = [one["code"] for one in compared["conditions"]]
    assert codes[:2] == ["cell", "correction"]
    assert [flag["code"] for flag in compared["flags"]] == ["mixed_correction"]
    assert compared["setups"][1]["mean"]["counted"] == 2


def test_a_pull_with_no_engine_speed_is_left_out_and_says_so(
    tuner: Any, desk: Any, house: Any, app: Any, pulls: list[str]
) -> None:
    vehicle = {"version": 1, "engine_turns_per_roller_turn": None}
    assert desk.patch(f"/api/v1/vehicles/{house.vehicle_id}", json=vehicle).status_code == 200
    headings = ("Time [s]", "Roller speed [rad/s]", "Spare", "Lambda", "Throttle [%]")
    other = filed(tuner, house, Steady(gain_rad_s2=20.0, headings=headings).csv())["id"]
    compared = _compare(tuner, [*pulls, other])
    assert "mixed_axis" in [flag["code"] for flag in compared["flags"]]
    baseline = compared["setups"][0]
    counted = {pull["pull_id"]: pull["counts_in_mean"] for pull in baseline["pulls"]}
    assert counted == {pulls[0]: True, pulls[1]: True, other: False}
    assert baseline["mean"]["counted"] == 2
    assert compared["axis"] == "engine_speed"
    arrays = {pull["pull_id"]: pull["power_w"] for pull in baseline["pulls"]}
    assert arrays[other] is None
    assert arrays[pulls[0]] is not None
    assert compared["engine_speed_rpm"] == _compare(tuner, pulls)["engine_speed_rpm"]
    alone = _compare(tuner, [other])
    own = tuner.get(f"/api/v1/pulls/{other}/curve").json()
    assert (alone["axis"], alone["engine_speed_rpm"]) == ("roller_speed", own["engine_speed_rpm"])
    assert alone["setups"][0]["pulls"][0]["power_w"] == own["power_w"]
    with app.state.database.reading() as session:
        summary, _ = summaries(compare(session, [*pulls, other], ReadSettings()))
    peaks = [
        pull["summary"]["headline"]["peak_power_w"]["value"] for pull in baseline["pulls"] if pull["counts_in_mean"]
    ]
    assert [summary.low_power_w, summary.high_power_w] == pytest.approx([min(peaks), max(peaks)], abs=0.06)


def test_a_pull_without_a_curve_is_shown_with_its_reason(tuner: Any, house: Any, pulls: list[str]) -> None:
    broken = send_pull(tuner, house, b'Time [s],Roller speed [rad/s]\n0.0,10.0\n0.1,"11.0\n0.2,12.0\n').json()
    compared = _compare(tuner, [*pulls, broken["id"]])
    shown = next(pull for pull in compared["setups"][0]["pulls"] if pull["pull_id"] == broken["id"])
    assert shown["power_w"] is None
    assert broken["reason"] in shown["failure"]
    assert "without_curve" in [flag["code"] for flag in compared["flags"]]


def test_what_a_client_holds_is_not_sent_again(tuner: Any, pulls: list[str]) -> None:
    first = tuner.get("/api/v1/comparisons", params={"pull_id": pulls})
    held = {"If-None-Match": first.headers["etag"]}
    assert tuner.get("/api/v1/comparisons", params={"pull_id": pulls}, headers=held).status_code == 304
    tuner.post(f"/api/v1/pulls/{pulls[0]}/set-aside", json={"reason": "Strap came loose"})
    assert tuner.get("/api/v1/comparisons", params={"pull_id": pulls}, headers=held).status_code == 200


def test_it_takes_the_same_number_of_statements_for_one_pull_and_for_many(
    tuner: Any, house: Any, pulls: list[str], app: Any, statements: list[str]
) -> None:
    def asked_for(wanted: list[str]) -> int:
        statements.clear()
        _compare(tuner, wanted)
        return len(statements)

    more = [filed(tuner, house, Steady(gain_rad_s2=8 + n / 10).csv())["id"] for n in range(10, 16)]
    one, many = asked_for(pulls[:1]), asked_for([*pulls, *more])
    assert one == many == 5  # who is signed in, then pulls, weather, calibrations, columns


@pytest.mark.parametrize("count", [0, 61])
def test_no_pull_and_too_many_are_refused(tuner: Any, house: Any, count: int) -> None:
    answer = tuner.get("/api/v1/comparisons", params={"pull_id": ["0123456789abc"] * count})
    assert answer.status_code == 422


def test_unknown_pulls_are_named(tuner: Any, pulls: list[str]) -> None:
    answer = tuner.get("/api/v1/comparisons", params={"pull_id": [pulls[0], "0123456789abc"]})
    assert answer.status_code == 404
    assert [problem["value"] for problem in answer.json()["problems"]] == ["0123456789abc"]
