"""Adding timed runs, changing them, and reading them beside the pulls of their setup."""

from typing import Any

import numpy as np
import pytest

from tests.api.pull_files import RATIO, Steady, filed

RUN = {
    "ran_at": "2026-03-09T15:20:00+01:00",
    "mass_kg": 1340.0,
    "distance_m": 402.336,
    "elapsed_s": 15.9,
    "trap_speed_m_s": 39.0,
    "surface": "dry, 12 °C",
}


def _add(client: Any, house: Any, **changes: Any) -> Any:
    told = {"setup_id": house.setup_id, **RUN, **changes}
    body = {name: value for name, value in told.items() if value is not None}
    return client.post(f"/api/v1/tickets/{house.ticket_id}/track-runs", json=body)


def _added(client: Any, house: Any, **changes: Any) -> dict[str, Any]:
    answer = _add(client, house, **changes)
    assert answer.status_code == 201, answer.text
    return answer.json()


def _all(client: Any, house: Any) -> dict[str, Any]:
    answer = client.get(f"/api/v1/tickets/{house.ticket_id}/track-runs")
    assert answer.status_code == 200, answer.text
    return answer.json()


def test_a_run_is_kept_as_it_was_entered_with_what_it_implies(tuner: Any, house: Any) -> None:
    run = _added(tuner, house)
    assert {name: run[name] for name in RUN if name != "ran_at"} == {n: v for n, v in RUN.items() if n != "ran_at"}
    assert (run["setup_name"], run["made_by_name"], run["version"]) == ("Baseline", "Tadeo Brandvik", 1)
    by_time, by_speed = run["implied"]
    # by the printed rule in its own units: hp = lb · (6.269 / ET)³ and lb · (mph / 230)³
    pounds, horsepower_w = 1340.0 / 0.45359237, 745.6998715822702
    assert by_time["power_w"] == pytest.approx(horsepower_w * pounds * (6.269 / 15.9) ** 3, rel=1e-5)
    assert by_speed["power_w"] == pytest.approx(horsepower_w * pounds * (39.0 / 0.44704 / 230.0) ** 3, rel=1e-5)
    assert by_time["high_w"] / by_time["power_w"] == pytest.approx(1.17, rel=1e-5)


def test_pounds_and_miles_an_hour_become_kilograms_and_metres_a_second(tuner: Any, house: Any) -> None:
    told = {"mass_kg": None, "mass_lb": 2954.2, "trap_speed_m_s": None}
    run = _added(tuner, house, **told, trap_speed_mph=87.24)
    assert run["mass_kg"] == pytest.approx(1340.0, abs=0.01)
    assert run["trap_speed_m_s"] == pytest.approx(39.0, abs=0.001)
    assert _added(tuner, house, trap_speed_m_s=None, trap_speed_km_h=140.4)["trap_speed_m_s"] == pytest.approx(39.0)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"mass_kg": 13.4}, "mass_kg"),
        ({"distance_m": 0.25}, "distance_m"),
        ({"elapsed_s": 0.0}, "elapsed_s"),
        ({"trap_speed_m_s": 390.0}, "trap_speed_m_s"),
        ({"ran_at": "yesterday"}, "ran_at"),
        ({"setup_id": "0123456789abc"}, "setup_id"),
        ({"wind_m_s": 3.0}, "wind_m_s"),
    ],
)
def test_what_cannot_be_is_refused_by_its_name(tuner: Any, house: Any, changes: dict[str, Any], field: str) -> None:
    answer = _add(tuner, house, **changes)
    assert answer.status_code == 422
    assert field in [problem["field"] for problem in answer.json()["problems"]]
    assert _all(tuner, house)["items"] == []


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"elapsed_s": None, "trap_speed_m_s": None}, "says nothing"),
        ({"mass_kg": None}, "mass_lb"),
        ({"mass_lb": 2900.0}, "mass_kg and mass_lb"),
        ({"trap_speed_mph": 87.0}, "trap_speed_m_s and trap_speed_mph"),
    ],
)
def test_a_run_without_time_or_mass_or_with_two_units_is_told_so(
    tuner: Any, house: Any, changes: dict[str, Any], words: str
) -> None:
    answer = _add(tuner, house, **changes)
    assert answer.status_code == 422
    assert words in answer.text


def test_only_what_is_sent_changes_and_it_stands_in_the_audit_trail(tuner: Any, owner: Any, house: Any) -> None:
    run = _added(tuner, house)
    told = {"version": 1, "mass_kg": 1410.0, "notes": "weighed on the way back"}
    changed = tuner.patch(f"/api/v1/track-runs/{run['id']}", json=told).json()
    assert (changed["mass_kg"], changed["elapsed_s"], changed["version"]) == (1410.0, 15.9, 2)
    latest = owner.get("/api/v1/audit").json()["items"][0]
    assert (latest["action"], latest["record"], latest["record_id"]) == ("change", "track_run", run["id"])
    assert latest["before"]["mass_kg"] == 1340.0


def test_a_stale_change_is_refused_and_says_what_is_there(tuner: Any, house: Any) -> None:
    run = _added(tuner, house)
    tuner.patch(f"/api/v1/track-runs/{run['id']}", json={"version": 1, "mass_kg": 1410.0})
    answer = tuner.patch(f"/api/v1/track-runs/{run['id']}", json={"version": 1, "mass_kg": 1300.0})
    assert answer.status_code == 409
    assert "1410" in answer.text


def test_a_run_cannot_lose_its_only_time(tuner: Any, house: Any) -> None:
    run = _added(tuner, house, trap_speed_m_s=None)
    answer = tuner.patch(f"/api/v1/track-runs/{run['id']}", json={"version": 1, "elapsed_s": None})
    assert answer.status_code == 422
    assert "set the run aside" in answer.json()["problems"][0]["would_do"]


def test_a_run_that_is_set_aside_stays_and_counts_no_more(tuner: Any, house: Any) -> None:
    good, missed = _added(tuner, house), _added(tuner, house, elapsed_s=19.0, trap_speed_m_s=33.0)
    told = {"version": 1, "set_aside_reason": "missed third gear"}
    assert tuner.patch(f"/api/v1/track-runs/{missed['id']}", json=told).status_code == 200
    found = _all(tuner, house)
    assert len(found["items"]) == 2
    assert found["setups"][0]["rated_by_rule"]["counted"] == 1
    assert found["setups"][0]["rated_by_rule"]["power_w"] == good["implied"][1]["power_w"]
    back = tuner.patch(f"/api/v1/track-runs/{missed['id']}", json={"version": 2, "set_aside_reason": None})
    assert back.json()["set_aside_reason"] is None


def _top_w(pull: Steady) -> float:
    """What the rollers see at the end of such a pull, in closed form."""
    return pull.observed_power_w((pull.start_rad_s + pull.gain_rad_s2 * pull.seconds) * RATIO * 30.0 / np.pi)


def test_runs_stand_beside_the_wheel_power_of_their_setup(tuner: Any, house: Any) -> None:
    before, after = (Steady(seconds=8.0), Steady(seconds=7.9)), Steady(gain_rad_s2=8.8)
    for one in before:
        filed(tuner, house, one.csv())
    filed(tuner, house, after.csv(), setup_id=house.second_setup_id)
    for speed in (14.0, 14.1):
        _added(tuner, house, elapsed_s=None, trap_speed_m_s=speed)
    _added(tuner, house, elapsed_s=None, trap_speed_m_s=14.5, setup_id=house.second_setup_id)
    first, second = _all(tuner, house)["setups"]
    assert (first["position"], first["rated_by_rule"]["counted"], first["wheel_observed"]["counted"]) == (0, 2, 2)
    assert first["change"] is None
    by_hand = 14.5**3 / ((14.0**3 + 14.1**3) / 2.0) - 1.0
    assert second["change"] == pytest.approx(by_hand, rel=1e-3)
    assert second["change_u"] is None  # one run alone has no scatter
    wheel_change = _top_w(after) / ((_top_w(before[0]) + _top_w(before[1])) / 2.0) - 1.0
    assert second["wheel_change"] == pytest.approx(wheel_change, abs=0.01)
    assert second["judged"] in ("plausible", "wheel_high", "wheel_low")
    assert "17 %" in _all(tuner, house)["caution"]


def test_without_runs_the_list_is_empty_and_reads_no_pull(tuner: Any, house: Any, statements: list[str]) -> None:
    filed(tuner, house, Steady().csv())
    statements.clear()
    found = _all(tuner, house)
    assert (found["items"], found["setups"]) == ([], [])
    assert not [one for one in statements if "column_block" in one]
