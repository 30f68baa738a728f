"""Reading a pull's holds: each plateau's mean, beside what the setup's sweeps give at that speed."""

from datetime import timedelta

import pytest

from tests.api.held_files import engine_rpm, held_power_w, steps_csv
from tests.api.pull_files import Steady, filed, forget_ratio, send_pull
from tests.furnishing import START

TWO_STEPS = steps_csv((60.0, 180.0, 100.0, 0.92, 98.0), (80.0, 150.0, 100.0, 0.88, 97.0))


def holds(client, pull_id, **query):
    answer = client.get(f"/api/v1/pulls/{pull_id}/holds", params={"standard": "observed", **query})
    assert answer.status_code == 200, answer.text
    return answer.json()


def test_each_plateau_has_its_speed_power_mixture_and_uncertainty(tuner, house):
    pull = filed(tuner, house, TWO_STEPS, kind="hold")
    first, second = holds(tuner, pull["id"])["plateaus"]
    for one, speed, brake, measured in ((first, 60.0, 180.0, 0.92), (second, 80.0, 150.0, 0.88)):
        assert one["power_w"] == pytest.approx(held_power_w(speed, brake), rel=1e-4)
        assert one["engine_speed_rpm"]["value"] == pytest.approx(engine_rpm(speed), rel=1e-5)
        assert one["lambda_measured"]["value"] == pytest.approx(measured, abs=1e-4)
        assert one["lambda_commanded"] == pytest.approx(0.9)
        assert one["is_settled"]
        # the cell's brake is known to 0.1 % (k = 1) and its arm to 0.14 %: the rest is small beside it
        assert 0.001 < one["expanded_uncertainty_w"] / one["power_w"] < 0.01
        assert one["channels"]["manifold_pressure_kpa"] == pytest.approx(97.5, abs=0.6)


def test_a_standard_brings_its_factor(tuner, house):
    pull = filed(tuner, house, TWO_STEPS, kind="hold")
    bare, corrected = holds(tuner, pull["id"]), holds(tuner, pull["id"], standard="iso_1585")
    assert bare["factor"] == 1.0
    assert corrected["factor"] != 1.0
    for one, other in zip(bare["plateaus"], corrected["plateaus"], strict=True):
        assert other["power_w"] == pytest.approx(corrected["factor"] * one["power_w"], rel=1e-4)
        assert other["observed_power_w"]["value"] == one["observed_power_w"]["value"]


def test_a_holds_power_stands_beside_the_sweeps_at_its_speed(tuner, house):
    pull = filed(tuner, house, TWO_STEPS, kind="hold")
    alone = holds(tuner, pull["id"])["plateaus"][0]["beside_sweeps"]
    assert (alone["sweeps"], alone["why_not"]) == (0, "no sweep of this setup yet")
    sweeps = [Steady(gain_rad_s2=gain, hertz=200.0) for gain in (8.0, 8.2)]
    for number, sweep in enumerate(sweeps):
        filed(tuner, house, sweep.csv(), file_name=f"sweep {number}.csv")
    other = filed(tuner, house, Steady(gain_rad_s2=3.0).csv(), file_name="aside.csv")
    tuner.post(f"/api/v1/pulls/{other['id']}/set-aside", json={"reason": "wheel slip"})
    found = holds(tuner, pull["id"])
    one = found["plateaus"][0]
    beside = one["beside_sweeps"]
    known = sum(float(sweep.observed_power_w(engine_rpm(60.0))) for sweep in sweeps) / 2.0
    assert beside["sweeps"] == 2
    assert beside["power_w"] == pytest.approx(known, rel=0.01)
    assert beside["difference_w"] == pytest.approx(one["power_w"] - beside["power_w"], abs=0.2)
    assert beside["difference_u_w"] > one["expanded_uncertainty_w"]
    assert "heat" in found["caution"]


def test_a_plateau_at_part_throttle_stands_beside_no_sweep(tuner, house):
    filed(tuner, house, Steady().csv(), file_name="sweep.csv")
    data = steps_csv((60.0, 90.0, 45.0, 0.98, 60.0))
    pull = filed(tuner, house, data, kind="part_throttle")
    (one,) = holds(tuner, pull["id"])["plateaus"]
    assert one["beside_sweeps"]["why_not"] == "throttle at 45 %, sweeps are at full"
    assert one["beside_sweeps"]["difference_w"] is None


def test_a_sweep_stands_still_nowhere_and_says_so(tuner, house):
    pull = filed(tuner, house, Steady().csv())
    found = holds(tuner, pull["id"])
    assert found["plateaus"] == []
    assert [flag["code"] for flag in found["flags"]] == ["no_plateau"]


def test_without_a_brake_channel_it_is_said_what_is_missing(tuner, house):
    lines = [b",".join(line.split(b",")[:3]) for line in TWO_STEPS.splitlines()]
    pull = filed(tuner, house, b"\n".join(lines) + b"\n", kind="hold")
    found = holds(tuner, pull["id"])
    assert "no_brake" in [flag["code"] for flag in found["flags"]]
    assert found["plateaus"][0]["power_w"] == pytest.approx(held_power_w(60.0, 0.0), abs=0.06)


def test_a_pull_from_before_any_calibration_says_what_would_help(tuner, house):
    long_ago = (START - timedelta(days=300)).isoformat()
    pull = filed(tuner, house, TWO_STEPS, kind="hold", taken_at=long_ago)
    answer = tuner.get(f"/api/v1/pulls/{pull['id']}/holds")
    assert answer.status_code == 409
    assert "no calibration in force" in answer.json()["detail"]


def test_a_file_that_cannot_be_read_yet_has_no_holds(tuner, house):
    unclear = TWO_STEPS.replace(b"Roller speed [rad/s]", b"Q").replace(b"Engine speed [rpm]", b"R")
    answer = send_pull(tuner, house, unclear, kind="hold")
    answer = tuner.get(f"/api/v1/pulls/{answer.json()['id']}/holds")
    assert answer.status_code == 409
    assert "cannot be read yet" in answer.json()["detail"]


def test_without_engine_speed_or_ratio_there_is_power_but_no_torque(owner, tuner, house):
    forget_ratio(owner, house)
    rows = (line.split(b",") for line in TWO_STEPS.splitlines())
    data = b"".join(b",".join([*row[:2], *row[3:]]) + b"\n" for row in rows)
    pull = filed(tuner, house, data, kind="hold")
    one = holds(tuner, pull["id"])["plateaus"][0]
    assert one["engine_speed_rpm"] is None
    assert one["torque_nm"] is None
    assert one["power_w"] == pytest.approx(held_power_w(60.0, 180.0), rel=1e-4)


def test_an_unknown_standard_is_refused_by_name(tuner, house):
    pull = filed(tuner, house, TWO_STEPS, kind="hold")
    answer = tuner.get(f"/api/v1/pulls/{pull['id']}/holds", params={"standard": "sea"})
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["field"] == "standard"


def test_the_front_desk_may_look(tuner, desk, house):
    pull = filed(tuner, house, TWO_STEPS, kind="hold")
    assert len(holds(desk, pull["id"])["plateaus"]) == 2


def test_many_part_throttle_pulls_do_not_push_the_sweeps_out(tuner, house):
    filed(tuner, house, Steady(gain_rad_s2=8.0, hertz=200.0).csv(), file_name="sweep.csv")
    pull = filed(tuner, house, TWO_STEPS, kind="hold")
    for number in range(13):
        part = Steady(gain_rad_s2=2.0 + 0.01 * number).csv()
        filed(tuner, house, part, file_name=f"part {number}.csv", kind="part_throttle")
    assert holds(tuner, pull["id"])["plateaus"][0]["beside_sweeps"]["sweeps"] == 1
