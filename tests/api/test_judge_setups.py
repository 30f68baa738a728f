"""Judging setups: each later one against the first, by band and by what matters, with what does not cancel in it."""

from datetime import timedelta
from itertools import count
from typing import Any

import numpy as np
import pytest
from scipy import stats

from tests.api.pull_files import Steady, filed
from tests.furnishing import CALIBRATION, START, WEATHER

BASE = (8.0, 8.03, 7.98, 8.01)
BETTER = (8.3, 8.33, 8.28, 8.31)
SAME = (8.011, 8.021, 7.991, 8.0)


@pytest.fixture
def made(tuner: Any, house: Any) -> Any:
    """Files pulls in an order like AABB, of these gains in turn, seven minutes apart; gives their ids in that order."""
    files = count()

    def make(order: str, first: tuple[float, ...], later: tuple[float, ...], **changes: Any) -> list[str]:
        gains, setups = {"A": list(first), "B": list(later)}, {"A": house.setup_id, "B": house.second_setup_id}
        ids = []
        for place, one in enumerate(order):
            taken = START - timedelta(minutes=7 * (len(order) - place))
            data = Steady(gain_rad_s2=gains[one].pop(0), lambda_value=0.9 + 1e-4 * next(files)).csv()
            told = {"setup_id": setups[one], "taken_at": taken.isoformat(), "file_name": f"{place}.csv", **changes}
            ids.append(filed(tuner, house, data, **told)["id"])
        return ids

    return make


def _compare(client: Any, pulls: list[str], **asked: Any) -> dict[str, Any]:
    answer = client.get("/api/v1/comparisons", params={"pull_id": pulls, **asked})
    assert answer.status_code == 200, answer.text
    return answer.json()


def _verdict(client: Any, pulls: list[str], **asked: Any) -> dict[str, Any]:
    (one,) = _compare(client, pulls, **asked)["verdicts"]
    return one


def _band_means(compared: dict[str, Any], setup: int, band: tuple[float, float]) -> list[float]:
    """Mean power of each pull over a band of whole grid points, by trapezoids on the answered curves."""
    grid = np.array(compared["engine_speed_rpm"])
    inside = (grid >= band[0]) & (grid <= band[1])
    rows = [np.array(pull["power_w"], float)[inside] for pull in compared["setups"][setup]["pulls"]]
    return [float(np.trapezoid(row, grid[inside]) / (band[1] - band[0])) for row in rows]


def test_a_part_that_gains_is_a_gain_with_its_interval_as_scipy_has_it(tuner: Any, made: Any) -> None:
    compared = _compare(tuner, made("AAAABBBB", BASE, BETTER))
    (one,) = compared["verdicts"]
    assert (one["verdict"], one["method"], one["pairs"]) == ("gain", "welch", 0)
    first, later = (_band_means(compared, setup, tuple(one["band_rpm"])) for setup in (0, 1))
    theirs = stats.ttest_ind(later, first, equal_var=False)
    assert one["difference_w"] == pytest.approx(np.mean(later) - np.mean(first), rel=1e-4)
    assert one["interval_w"] == pytest.approx(list(theirs.confidence_interval(0.95)), rel=1e-3)
    assert one["degrees_of_freedom"] == pytest.approx(theirs.df, rel=1e-2)
    assert one["difference_pct"] == pytest.approx(100.0 * one["difference_w"] / np.mean(first), rel=1e-4)
    assert one["text"].startswith("Gain: ")
    assert "95\u00a0% interval" in one["text"]
    assert "ISO 1585" in one["text"]


def test_each_point_has_its_difference_with_an_interval_on_the_common_grid(tuner: Any, made: Any) -> None:
    compared = _compare(tuner, made("AAABBB", BASE[:3], BETTER[:3]))
    (one,) = compared["verdicts"]
    points = {name: np.array(values, float) for name, values in one["pointwise"].items()}
    assert {len(values) for values in points.values()} == {len(compared["engine_speed_rpm"])}
    means = [np.array(setup["mean"]["power_w"], float) for setup in compared["setups"]]
    np.testing.assert_allclose(points["difference_w"], means[1] - means[0], atol=0.16)
    known = np.isfinite(points["difference_w"])
    assert known.sum() > 20
    assert (points["low_w"][known] <= points["difference_w"][known]).all()
    assert (points["high_w"][known] >= points["difference_w"][known]).all()


def test_a_part_that_does_nothing_is_no_difference_larger_than_what_matters(tuner: Any, made: Any) -> None:
    pulls = made("AAAABBBB", BASE, SAME)
    one = _verdict(tuner, pulls)
    assert one["verdict"] == "no_difference"
    assert one["text"].startswith("No difference larger than 1\u00a0%: ")
    assert -1.0 <= one["interval_pct"][0] <= 0.0 <= one["interval_pct"][1] <= 1.0
    tight = _verdict(tuner, pulls, worth_pct=0.1)
    assert (tight["verdict"], tight["worth_pct"]) == ("not_enough_pulls", 0.1)
    assert tight["interval_w"] == one["interval_w"]


def test_loose_pulls_are_too_few_and_it_says_how_many_would_do(tuner: Any, made: Any) -> None:
    one = _verdict(tuner, made("AAABBB", (8.0, 8.1, 7.93), (8.02, 8.12, 7.95)))
    assert one["verdict"] == "not_enough_pulls"
    assert one["smallest_shown_pct"] > 1.0
    assert one["pulls_for_1_pct"] >= 3
    assert one["smallest_shown_w"] == pytest.approx(
        one["smallest_shown_pct"] / 100.0 * one["first"]["mean_power_w"], rel=1e-6
    )


def test_pulls_taken_in_turn_lose_a_steady_drift(tuner: Any, made: Any) -> None:
    fade = [0.02 * place for place in range(8)]
    first = tuple(gain - fade[2 * n] for n, gain in enumerate(BASE))
    later = tuple(gain - fade[2 * n + 1] for n, gain in enumerate(BETTER))
    one = _verdict(tuner, made("ABABABAB", first, later))
    assert (one["verdict"], one["method"], one["pairs"]) == ("gain", "paired", 4)
    after = _verdict(tuner, made("AAAABBBB", BASE, BETTER[:4]))
    drifting = _verdict(tuner, made("AAAABBBB", tuple(gain - 0.021 * n for n, gain in enumerate(BASE)), later))
    assert one["difference_pct"] == pytest.approx(after["difference_pct"], abs=0.05)
    assert drifting["difference_pct"] < after["difference_pct"] - 0.5


def test_a_single_pull_has_a_difference_and_no_interval(tuner: Any, made: Any) -> None:
    one = _verdict(tuner, made("ABB", BASE[:1], BETTER[:2]))
    assert one["verdict"] == "not_enough_pulls"
    assert one["difference_pct"] > 1.0
    for name in ("interval_w", "interval_pct", "smallest_shown_pct", "pulls_for_1_pct", "degrees_of_freedom"):
        assert one[name] is None, name
    assert one["first"]["scatter_w"] is None


def test_a_band_asked_for_is_the_one_judged_and_differences_are_over_it_too(tuner: Any, made: Any) -> None:
    pulls = made("AABB", BASE[:2], BETTER[:2])
    compared = _compare(tuner, pulls, band_low_rpm=3000, band_high_rpm=4000)
    (one,), (difference,) = compared["verdicts"], compared["differences"]
    assert one["band_rpm"] == difference["band_rpm"] == [3000.0, 4000.0]
    first, later = (_band_means(compared, setup, (3000.0, 4000.0)) for setup in (0, 1))
    assert one["difference_w"] == pytest.approx(np.mean(later) - np.mean(first), rel=1e-4)
    usual = _compare(tuner, pulls)
    low, high = usual["shared_rpm"]
    assert low < usual["verdicts"][0]["band_rpm"][0] < usual["verdicts"][0]["band_rpm"][1] < high
    whole = _compare(tuner, pulls, band_low_rpm=low, band_high_rpm=high)
    assert whole["verdicts"][0]["band_rpm"] == [low, high]


@pytest.mark.parametrize(
    ("asked", "field", "words"),
    [
        ({"band_low_rpm": 4000, "band_high_rpm": 3000}, "band_high_rpm", "ends before it begins"),
        ({"band_low_rpm": 3000, "band_high_rpm": 3000}, "band_high_rpm", "ends before it begins"),
        ({"band_low_rpm": 100}, "band_low_rpm", "does not lie on what all these pulls share"),
        ({"band_high_rpm": 30000}, "band_high_rpm", "does not lie on what all these pulls share"),
        ({"band_low_rpm": -5}, "band_low_rpm", "above 0"),
        ({"band_high_rpm": "nan"}, "band_high_rpm", "above 0"),
        ({"worth_pct": 0}, "worth_pct", "will not do"),
        ({"worth_pct": 50}, "worth_pct", "will not do"),
    ],
)
def test_what_nothing_can_be_judged_by_is_refused_by_name(
    tuner: Any, made: Any, asked: dict[str, Any], field: str, words: str
) -> None:
    answer = tuner.get("/api/v1/comparisons", params={"pull_id": made("AB", BASE[:1], BETTER[:1]), **asked})
    assert answer.status_code == 422, answer.text
    problem = answer.json()
    assert words in problem["detail"]
    assert field in [one["field"] for one in problem["problems"]]


def test_a_pull_set_aside_is_told_with_its_reason_and_counts_in_no_verdict(tuner: Any, made: Any) -> None:
    pulls = made("AAABBB", BASE[:3], BETTER[:3])
    before = _verdict(tuner, pulls)
    assert before["set_aside"] == []
    tuner.post(f"/api/v1/pulls/{pulls[1]}/set-aside", json={"reason": "Strap came loose"})
    one = _verdict(tuner, pulls)
    assert [(pull["pull_id"], pull["reason"]) for pull in one["set_aside"]] == [(pulls[1], "Strap came loose")]
    assert (one["first"]["counted"], one["later"]["counted"]) == (2, 3)
    assert one["first"]["mean_power_w"] != before["first"]["mean_power_w"]


def test_what_two_cells_do_not_share_is_in_the_interval_and_named(owner: Any, house: Any, made: Any) -> None:
    together = _verdict(owner, made("AAABBB", BASE[:3], BETTER[:3]))
    assert together["own_parts"] == []
    told = {"name": "Cell two", "drive": "two_wheel", "has_brake": False, "altitude_m": 200.0}
    cell_id = owner.post("/api/v1/cells", json=told).json()["id"]
    owner.post(f"/api/v1/cells/{cell_id}/calibrations", json=CALIBRATION)
    assert owner.post("/api/v1/weather", json={"cell_id": cell_id, **WEATHER}).status_code == 201
    apart = []
    for number, gain in enumerate((*BASE[:3], *BETTER[:3])):
        changes = {"cell_id": cell_id} if number > 2 else {}
        setup_id = house.second_setup_id if number > 2 else house.setup_id
        taken = (START - timedelta(minutes=90 - number)).isoformat()
        apart.append(
            filed(
                owner, house, Steady(gain_rad_s2=gain, seconds=7.9).csv(), setup_id=setup_id, taken_at=taken, **changes
            )
        )
    one = _verdict(owner, [pull["id"] for pull in apart])
    codes = {part["code"]: part for part in one["own_parts"]}
    assert set(codes) == {"calibration", "air"}
    assert "two cells" in codes["calibration"]["words"]
    own = sum(part["u_pct"] ** 2 for part in one["own_parts"]) ** 0.5
    half, plain = (0.5 * (v["interval_pct"][1] - v["interval_pct"][0]) for v in (one, together))
    assert half > max(plain, 1.95 * own)


def test_two_calibrations_of_one_cell_do_not_cancel_and_the_air_of_one_instrument_does(
    owner: Any, house: Any, made: Any
) -> None:
    pulls = made("AAABBB", BASE[:3], BETTER[:3])
    plain = _verdict(owner, pulls)
    between = (START - timedelta(minutes=25)).isoformat()
    newer = {**CALIBRATION, "valid_from": between, "reason": "Checked at noon"}
    assert owner.post(f"/api/v1/cells/{house.cell_id}/calibrations", json=newer).status_code == 201
    one = _verdict(owner, pulls)
    (part,) = one["own_parts"]
    assert (part["code"], part["words"]) == ("calibration", "rollers and brake under two calibrations")
    share = 100.0 * CALIBRATION["inertia_u_kg_m2"] / CALIBRATION["inertia_kg_m2"]
    assert part["u_pct"] == pytest.approx(2.0**0.5 * share, rel=0.25)  # inertia is most of it
    assert one["difference_w"] == pytest.approx(plain["difference_w"], rel=1e-9)
    assert one["interval_w"][0] < plain["interval_w"][0]
    codes = [condition["code"] for condition in _compare(owner, pulls)["conditions"]]
    assert codes == ["calibration"]


def test_a_setup_without_a_pull_that_counts_is_not_judged_nor_judged_by(tuner: Any, made: Any) -> None:
    pulls = made("ABB", BASE[:1], BETTER[:2])
    tuner.post(f"/api/v1/pulls/{pulls[0]}/set-aside", json={"reason": "Wheel spin"})
    compared = _compare(tuner, pulls)
    assert compared["verdicts"] == compared["differences"] == []


def test_another_band_is_another_answer_to_what_a_client_holds(tuner: Any, made: Any) -> None:
    pulls = made("AB", BASE[:1], BETTER[:1])
    first = tuner.get("/api/v1/comparisons", params={"pull_id": pulls})
    held = {"If-None-Match": first.headers["etag"]}
    for asked, status in (({}, 304), ({"band_low_rpm": 3000}, 200), ({"worth_pct": 2}, 200)):
        answer = tuner.get("/api/v1/comparisons", params={"pull_id": pulls, **asked}, headers=held)
        assert answer.status_code == status, asked


def test_what_was_alike_is_told_too(tuner: Any, made: Any) -> None:
    compared = _compare(tuner, made("AB", BASE[:1], BETTER[:1]), window_s=0.5)
    alike = {one["code"]: one for one in compared["conditions_alike"]}
    assert compared["conditions"] == []
    assert {"cell", "calibration", "correction", "gear", "ratio", "tyre_pressure", "window"} <= set(alike)
    assert set(alike["window"]["values"].values()) == {"0.50 s"}
    assert set(alike["correction"]["values"].values()) == {"ISO 1585, UN R85"}
