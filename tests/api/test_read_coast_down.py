"""A declutched car coasts on the rollers: its drag comes back, and engine power is estimated and never claimed."""

import numpy as np
import pytest

from tests.api.coast_files import coast_csv
from tests.api.pull_files import Steady, filed
from tests.furnishing import CALIBRATION, made
from tests.measure.made_coasts import LIGHT, Rollers

CAR_KG_M2, CAR_DRAG = 1.1, (9.0, 0.08, 6e-4)
TOGETHER = Rollers(
    LIGHT.inertia_kg_m2 + CAR_KG_M2, tuple(own + car for own, car in zip(LIGHT.losses, CAR_DRAG, strict=True))
)


@pytest.fixture
def coasted(tuner, house):
    return filed(tuner, house, coast_csv(TOGETHER, top_rad_s=110.0), kind="coast_down", file_name="coast.csv")["id"]


def _asked(client, pull_id, **query):
    answer = client.get(f"/api/v1/pulls/{pull_id}/coast-down", params=query)
    assert answer.status_code == 200, answer.text
    return answer.json()


def test_the_cars_drag_is_what_it_was_made_with(desk, coasted):
    told = _asked(desk, coasted, extra_inertia_kg_m2=CAR_KG_M2, extra_inertia_u_kg_m2=0.02)
    drag = told["drag"]
    at = np.array(drag["roller_speed_rad_s"])
    truth = CAR_DRAG[0] + CAR_DRAG[1] * at + CAR_DRAG[2] * at**2
    assert np.all(np.abs(np.array(drag["drag_nm"]) - truth) < 3.0 * np.array(drag["drag_u_nm"]))
    np.testing.assert_allclose(drag["power_w"], truth * at, rtol=0.02)
    assert told["estimate"] is None
    assert any("no readable sweep" in line for line in told["words"])


def test_an_inertia_nobody_stated_is_guessed_and_makes_it_uncertain(desk, coasted):
    guessed, stated = _asked(desk, coasted), _asked(desk, coasted, extra_inertia_kg_m2=CAR_KG_M2)
    assert not guessed["drag"]["extra_inertia_stated"]
    # 3 % of 1240 kg at a radius of 0.318 m
    assert guessed["drag"]["extra_inertia_kg_m2"] == pytest.approx(0.03 * 1240.0 * 0.318**2)
    assert np.all(np.array(guessed["drag"]["drag_u_nm"]) > 3.0 * np.array(stated["drag"]["drag_u_nm"]))
    assert any("is not known" in line for line in guessed["words"])


def test_engine_power_is_wheel_power_and_drag_and_what_the_car_took_up(tuner, desk, house, coasted):
    filed(tuner, house, Steady().csv())
    told = _asked(desk, coasted, extra_inertia_kg_m2=CAR_KG_M2, extra_inertia_u_kg_m2=0.02)
    found = told["estimate"]
    assert found["is_estimate"] is True
    rpm = np.array(found["engine_speed_rpm"])
    omega = rpm * np.pi / 30.0 / 5.2
    wheel = Steady().observed_power_w(rpm)
    drag = CAR_DRAG[0] + CAR_DRAG[1] * omega + CAR_DRAG[2] * omega**2
    truth = wheel + drag * omega + CAR_KG_M2 * 8.0 * omega
    assert np.all(np.abs(np.array(found["engine_power_w"]) - truth) < np.array(found["expanded_w"]))
    assert found["peak_engine_power_w"] > found["peak_wheel_power_w"]
    assert any("estimate" in line for line in told["words"])


def test_a_sweep_is_no_coast_down(tuner, desk, house):
    pull = filed(tuner, house, Steady().csv())
    answer = desk.get(f"/api/v1/pulls/{pull['id']}/coast-down")
    assert answer.status_code == 409
    assert "sweep" in answer.json()["detail"]


def test_a_hold_filed_as_a_coast_down_says_what_is_wrong(tuner, desk, house):
    pull = filed(tuner, house, Steady(gain_rad_s2=0.01).csv(), kind="coast_down")
    answer = desk.get(f"/api/v1/pulls/{pull['id']}/coast-down")
    assert answer.status_code == 409
    assert "run" in answer.json()["detail"]


def test_another_calibration_says_what_it_would_have_said_and_that_it_was_not_in_force(tuner, owner, desk, house):
    pull = filed(tuner, house, Steady().csv())
    own = desk.get(f"/api/v1/pulls/{pull['id']}/curve").json()
    later = {**CALIBRATION, "valid_from": "2026-03-10T09:00:00+00:00", "inertia_kg_m2": 4.62}
    other = made(owner.post(f"/api/v1/cells/{house.cell_id}/calibrations", json=later))
    told = desk.get(f"/api/v1/pulls/{pull['id']}/curve", params={"calibration_id": other["id"]}).json()
    assert own["calibration_in_force"] is True
    assert told["calibration_in_force"] is False
    assert told["provenance"]["calibration"]["id"] == other["id"]
    rpm = np.array(told["engine_speed_rpm"])
    more = 0.42 * 8.0 * rpm * np.pi / 30.0 / 5.2
    np.testing.assert_allclose(np.array(told["observed_power_w"]) - own["observed_power_w"], more, rtol=1e-3)
    again = desk.get(f"/api/v1/pulls/{pull['id']}/curve").json()
    assert again == own


def test_its_own_calibration_by_id_is_the_one_in_force(tuner, desk, house):
    pull = filed(tuner, house, Steady().csv())
    told = desk.get(f"/api/v1/pulls/{pull['id']}/curve", params={"calibration_id": house.calibration_id}).json()
    assert told["calibration_in_force"] is True


def test_a_calibration_of_no_cell_or_another_is_refused(tuner, owner, desk, house):
    pull = filed(tuner, house, Steady().csv())
    cell = made(
        owner.post("/api/v1/cells", json={"name": "Two", "drive": "two_wheel", "has_brake": False, "altitude_m": 1})
    )
    foreign = made(owner.post(f"/api/v1/cells/{cell['id']}/calibrations", json=CALIBRATION))
    for calibration_id in (foreign["id"], "0123456789abc"):
        answer = desk.get(f"/api/v1/pulls/{pull['id']}/curve", params={"calibration_id": calibration_id})
        assert answer.status_code == 422
        assert answer.json()["problems"][0]["field"] == "calibration_id"
