"""Reading one pull's curve: recomputed each time, with figures, flags and provenance."""

from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from tests.api.pull_files import UNCLEAR, Steady, filed, send_pull
from tests.furnishing import CALIBRATION, START, VEHICLE, WEATHER

DATA = Steady().csv()


@pytest.fixture
def pull(tuner: Any, house: Any) -> dict[str, Any]:
    return filed(tuner, house, DATA)


def _curve(client: Any, pull: dict[str, Any], **asked: Any) -> dict[str, Any]:
    answer = client.get(f"/api/v1/pulls/{pull['id']}/curve", params=asked)
    assert answer.status_code == 200, answer.text
    return answer.json()


def _codes(curve: dict[str, Any]) -> list[str]:
    return [flag["code"] for flag in curve["flags"]]


def test_it_finds_the_power_that_a_steady_gain_of_speed_stands_for(tuner: Any, pull: dict[str, Any]) -> None:
    curve = _curve(tuner, pull, standard="observed")
    speed, power = np.array(curve["engine_speed_rpm"]), np.array(curve["observed_power_w"], float)
    true = Steady().observed_power_w(speed)
    middle = slice(len(speed) // 10, -len(speed) // 10)
    assert len(speed) > 50
    assert np.abs(power[middle] / true[middle] - 1.0).max() < 1e-3
    assert curve["power_w"] == curve["observed_power_w"]
    assert curve["factor"] in (None, 1.0)


def test_it_carries_every_name_that_clients_rely_on(tuner: Any, pull: dict[str, Any]) -> None:
    curve = _curve(tuner, pull)
    for name in ("engine_speed_rpm", "power_w", "observed_power_w", "torque_nm", "spread_w", "lambda_measured"):
        assert len(curve[name]) == len(curve["engine_speed_rpm"]) > 0, name
    for name in ("peak_power_w", "peak_torque_nm", "mean_power_w"):
        assert set(curve["headline"][name]) == {"value", "at_engine_speed_rpm", "expanded_uncertainty"}
        assert curve["headline"][name]["expanded_uncertainty"] > 0
    named = {"standard", "factor", "factor_valid", "air", "window_s", "method_version", "flags", "provenance"}
    assert named <= set(curve)


def test_power_is_observed_power_times_the_factor(tuner: Any, pull: dict[str, Any]) -> None:
    curve = _curve(tuner, pull, standard="iso_1585")
    asked = {name: WEATHER[name] for name in ("air_temperature_c", "station_pressure_kpa", "relative_humidity_pct")}
    air = tuner.get("/api/v1/air", params=asked).json()
    assert curve["factor"] == air["factors"]["iso_1585"]["factor"]
    assert curve["air"]["vapour_pressure_kpa"] == air["vapour_pressure_kpa"]
    power, observed = np.array(curve["power_w"], float), np.array(curve["observed_power_w"], float)
    assert np.abs(power - observed * curve["factor"]).max() < 0.15  # both are rounded to 0.1 W
    assert np.abs(power - observed).max() > 10.0


def test_reading_twice_gives_the_same_bytes(tuner: Any, pull: dict[str, Any]) -> None:
    address = f"/api/v1/pulls/{pull['id']}/curve?standard=sae_j1349&step_rpm=25"
    assert tuner.get(address).content == tuner.get(address).content


def test_the_grid_stands_on_whole_steps(tuner: Any, pull: dict[str, Any]) -> None:
    speed = np.array(_curve(tuner, pull, step_rpm=100)["engine_speed_rpm"])
    assert (speed % 100 == 0).all()
    assert (np.diff(speed) == 100).all()


def test_an_unknown_standard_is_refused_with_the_known_ones(tuner: Any, pull: dict[str, Any]) -> None:
    answer = tuner.get(f"/api/v1/pulls/{pull['id']}/curve", params={"standard": "sae_j2000"})
    assert answer.status_code == 422
    assert "iso_1585" in answer.json()["problems"][0]["would_do"]


@pytest.mark.parametrize("asked", [{"window_s": 0}, {"window_s": "wide"}, {"step_rpm": 1}, {"step_rpm": "nan"}])
def test_settings_that_cannot_be_are_named(tuner: Any, pull: dict[str, Any], asked: dict[str, Any]) -> None:
    answer = tuner.get(f"/api/v1/pulls/{pull['id']}/curve", params=asked)
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["field"] == next(iter(asked))


def test_what_a_client_holds_is_not_sent_again_until_something_changes(tuner: Any, desk: Any, house: Any) -> None:
    pull = filed(tuner, house, DATA)
    address = f"/api/v1/pulls/{pull['id']}/curve"
    first = tuner.get(address)
    held = {"If-None-Match": first.headers["etag"]}
    again = tuner.get(address, headers=held)
    assert (again.status_code, again.content) == (304, b"")
    assert tuner.get(address, params={"step_rpm": 100}, headers=held).status_code == 200
    corrected = {**WEATHER, "air_temperature_c": 21.0, "cell_id": house.cell_id, "supersedes_id": house.weather_id}
    assert desk.post("/api/v1/weather", json=corrected).status_code == 201
    changed = tuner.get(address, headers=held)
    assert changed.status_code == 200
    assert changed.json()["factor"] != first.json()["factor"]


def test_provenance_names_everything_the_curve_was_made_from(tuner: Any, house: Any) -> None:
    pull = filed(tuner, house, DATA)
    made_from = _curve(tuner, pull)["provenance"]
    assert made_from["sha256"] == pull["sha256"]
    assert made_from["calibration"]["id"] == house.calibration_id
    assert made_from["weather"]["id"] == house.weather_id
    assert made_from["weather"]["age_minutes"] == 0.0
    assert made_from["channel_map"]["id"] == pull["channel_map_id"]
    assert made_from["channel_map"]["recognised"] is True
    assert len(made_from["inputs_digest"]) == 64
    assert {"reader", "standard", "factor", "window_s", "method_version"} <= set(made_from)


def test_weather_far_in_time_is_used_and_flagged_with_its_age(tuner: Any, house: Any, now: Any) -> None:
    now.advance(hours=5)
    pull = filed(tuner, house, DATA, taken_at=(START + timedelta(hours=4, minutes=50)).isoformat())
    curve = _curve(tuner, pull)
    assert curve["standard"] == "iso_1585"
    stale = next(flag for flag in curve["flags"] if flag["code"] == "weather_stale")
    assert "5 h" in stale["text"]


def test_the_nearest_reading_counts_before_or_after(tuner: Any, desk: Any, house: Any, now: Any) -> None:
    now.advance(hours=2)
    later = {**WEATHER, "cell_id": house.cell_id, "read_at": (START + timedelta(minutes=20)).isoformat()}
    reading = desk.post("/api/v1/weather", json=later).json()
    near = filed(tuner, house, DATA, taken_at=(START + timedelta(minutes=8)).isoformat())
    assert _curve(tuner, near)["provenance"]["weather"]["id"] == reading["id"]
    other = Steady(seconds=7.0).csv()
    far = filed(tuner, house, other, taken_at=(START + timedelta(minutes=3)).isoformat())
    assert _curve(tuner, far)["provenance"]["weather"]["id"] == house.weather_id


def test_doubtful_weather_is_used_and_flagged(tuner: Any, desk: Any, house: Any) -> None:
    doubtful = {**WEATHER, "cell_id": house.cell_id, "station_pressure_kpa": 84.0, "supersedes_id": house.weather_id}
    assert desk.post("/api/v1/weather", json=doubtful).json()["doubt"]
    pull = filed(tuner, house, DATA)
    assert "weather_doubt" in _codes(_curve(tuner, pull))
    assert "weather_doubt" not in _codes(_curve(tuner, pull, standard="observed"))


def test_without_weather_it_reads_observed_and_says_so(owner: Any, house: Any) -> None:
    told = {"name": "Two", "drive": "all_wheel", "has_brake": False, "altitude_m": 9}
    cell = owner.post("/api/v1/cells", json=told).json()
    owner.post(f"/api/v1/cells/{cell['id']}/calibrations", json=CALIBRATION)
    curve = _curve(owner, filed(owner, house, DATA, cell_id=cell["id"]))
    assert curve["standard"] == "observed"
    assert curve["air"] is None
    assert _codes(curve).count("no_weather") == 1


def test_without_a_calibration_in_force_there_is_no_curve_but_a_reason(tuner: Any, house: Any) -> None:
    pull = filed(tuner, house, DATA, taken_at="2025-12-24T10:00:00+01:00")
    answer = tuner.get(f"/api/v1/pulls/{pull['id']}/curve")
    assert answer.status_code == 409
    assert "no calibration in force" in answer.json()["detail"]


def test_a_newer_calibration_counts_from_its_date_and_not_before(owner: Any, house: Any, now: Any) -> None:
    now.advance(hours=3)
    before = filed(owner, house, DATA)
    after = filed(owner, house, Steady(seconds=7.0).csv(), taken_at=(START + timedelta(hours=2)).isoformat())
    twice = {**CALIBRATION, "inertia_kg_m2": 8.4, "valid_from": (START + timedelta(hours=1)).isoformat()}
    was = _curve(owner, before, standard="observed")
    assert owner.post(f"/api/v1/cells/{house.cell_id}/calibrations", json=twice).status_code == 201
    assert _curve(owner, before, standard="observed") == was
    speed = np.array(_curve(owner, after, standard="observed")["engine_speed_rpm"])
    power = np.array(_curve(owner, after, standard="observed")["observed_power_w"], float)
    roller = speed * np.pi / 30.0 / 5.2
    added = power - Steady().observed_power_w(speed)
    middle = slice(len(speed) // 10, -len(speed) // 10)
    assert added[middle] == pytest.approx((roller * 4.2 * 8.0)[middle], rel=2e-3)


def test_an_engine_that_holds_its_boost_is_flagged_as_corrected_twice(tuner: Any, desk: Any, house: Any) -> None:
    vehicle = desk.get(f"/api/v1/vehicles/{house.vehicle_id}").json()
    assert vehicle["make"] == VEHICLE["make"]
    told = {"version": vehicle["version"], "aspiration": "turbo", "holds_own_boost": True}
    desk.patch(f"/api/v1/vehicles/{house.vehicle_id}", json=told)
    pull = filed(tuner, house, DATA)
    assert _codes(_curve(tuner, pull)).count("corrected_twice") == 1
    assert "corrected_twice" not in _codes(_curve(tuner, pull, standard="observed"))


def test_a_pull_that_waits_for_a_map_says_so(tuner: Any, house: Any) -> None:
    kept = send_pull(tuner, house, UNCLEAR.csv()).json()
    answer = tuner.get(f"/api/v1/pulls/{kept['id']}/curve")
    assert answer.status_code == 409
    assert "needs a channel map" in answer.json()["detail"]


def test_a_hold_has_no_curve(tuner: Any, house: Any) -> None:
    kept = filed(tuner, house, DATA, kind="hold")
    assert tuner.get(f"/api/v1/pulls/{kept['id']}/curve").status_code == 409


def test_a_flat_file_is_no_sweep_and_says_why(tuner: Any, house: Any) -> None:
    kept = filed(tuner, house, Steady(gain_rad_s2=0.0).csv())
    answer = tuner.get(f"/api/v1/pulls/{kept['id']}/curve")
    assert answer.status_code == 409
    assert len(answer.json()["detail"]) > 20


def test_an_unknown_pull_is_not_found(tuner: Any, house: Any) -> None:
    for unknown in ("0123456789abc", "not-an-id", "%00"):
        assert tuner.get(f"/api/v1/pulls/{unknown}/curve").status_code == 404
