"""Evidence for a calibration is filed as it came, read anew, and comes to constants that somebody may take or leave."""

import numpy as np
import pytest

from tests.api.coast_files import coast_csv, send_evidence, weights
from tests.furnishing import CALIBRATION, made
from tests.measure.made_coasts import LIGHT, Rollers


@pytest.fixture
def path(house):
    return f"/api/v1/cells/{house.cell_id}"


def test_a_coast_down_comes_back_as_the_losses_it_was_made_with(tuner, house, path):
    kept = made(send_evidence(tuner, house, coast_csv()))
    run = kept["coast_down"]
    away = np.array(run["losses"]) - LIGHT.losses
    distance = float(away @ np.linalg.solve(np.array(run["covariance"]), away)) / 3.0
    assert distance < 5.5  # beyond F's 99.9 % quantile for 3 and some 400 degrees of freedom
    assert kept == tuner.get(f"{path}/calibration-evidence/{kept['id']}").json()
    assert tuner.get(f"{path}/calibration-evidence/{kept['id']}/raw").content == coast_csv()


def test_the_same_file_is_filed_once(tuner, house, path):
    first = made(send_evidence(tuner, house, coast_csv()))
    again = send_evidence(tuner, house, coast_csv())
    assert again.status_code == 200
    assert again.json()["id"] == first["id"]
    assert len(tuner.get(f"{path}/calibration-evidence").json()["items"]) == 1


def test_a_time_that_was_told_wrong_is_put_right_by_filing_again(tuner, house, path):
    data = coast_csv()
    first = made(send_evidence(tuner, house, data))
    put_right = made(send_evidence(tuner, house, data, taken_at="2026-03-09T16:00:00+00:00", note="the day before"))
    assert (put_right["taken_at"], put_right["note"]) == ("2026-03-09T16:00:00+00:00", "the day before")
    assert {one["id"] for one in tuner.get(f"{path}/calibration-evidence").json()["items"]} == {
        first["id"],
        put_right["id"],
    }


def test_a_file_that_holds_no_coast_down_is_kept_and_says_why(tuner, house):
    kept = made(
        send_evidence(tuner, house, b"Time [s],Roller speed [rad/s]\n" + b"".join(b"%d,50\n" % t for t in range(99)))
    )
    assert kept["coast_down"] is None
    assert "changes by only" in kept["failure"] or "coast for only" in kept["failure"]


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"kind": "known_torque"}, "torque_nm"),
        ({"kind": "known_torque", "torque_nm": 20.0}, "torque_u_nm"),
        ({"kind": "coast_down", "torque_nm": 20.0}, "torque_nm"),
        ({"taken_at": "2027-01-01T00:00:00+00:00"}, "taken_at"),
        ({"kind": "spin"}, "kind"),
        ({"channel_map_id": "0123456789abc"}, "channel_map_id"),
    ],
)
def test_what_does_not_go_together_is_refused_by_field(tuner, house, changes, field):
    answer = send_evidence(tuner, house, coast_csv(), **changes)
    assert answer.status_code == 422
    assert field in {problem["field"].split(".")[-1] for problem in answer.json()["problems"]}


def test_a_cell_nobody_has_is_not_found(tuner, house):
    assert send_evidence(tuner, house, coast_csv(), cell_id="0123456789abc").status_code == 404


def test_weights_come_to_the_cells_scale(tuner, path):
    kept = made(tuner.post(f"{path}/calibration-evidence/entered", json=weights()))
    assert kept["brake"]["brake_scale"] == pytest.approx(1.02, rel=1e-6)
    assert kept["brake"]["gravity_m_s2"] == 9.80665
    here = made(tuner.post(f"{path}/calibration-evidence/entered", json=weights(latitude_deg=48.2)))
    assert here["brake"]["gravity_m_s2"] == pytest.approx(9.8087, abs=2e-4)  # Vienna; from memory
    assert here["brake"]["brake_scale_u"] < kept["brake"]["brake_scale_u"]


@pytest.mark.parametrize(
    "changes",
    [{"steps": []}, {"arm_m": 0.0}, {"latitude_deg": 48.0, "gravity_m_s2": 9.81}, {"readings_are": "kilograms"}],
)
def test_weights_that_cannot_be_are_refused(tuner, path, changes):
    answer = tuner.post(f"{path}/calibration-evidence/entered", json=weights(**changes))
    assert answer.status_code == 422
    assert answer.json()["problems"]


def test_every_chosen_check_of_the_brake_counts(tuner, path):
    ids = []
    for day, share in ((7, 1.0), (8, 1.002), (9, 0.999)):
        asked = weights(taken_at=f"2026-03-0{day}T08:00:00+00:00")
        asked["steps"] = [{**step, "reading": step["reading"] * share} for step in asked["steps"]]
        ids.append(made(tuner.post(f"{path}/calibration-evidence/entered", json=asked))["id"])
    alone = tuner.get(f"{path}/calibration-evidence/proposal", params={"evidence_id": ids[-1:]}).json()
    together = tuner.get(f"{path}/calibration-evidence/proposal", params={"evidence_id": ids}).json()
    mean = np.mean([1.02, 1.02 / 1.002, 1.02 / 0.999])
    assert together["values"]["brake_scale"] == pytest.approx(mean, rel=1e-6)
    assert together["values"]["brake_scale_u"] > alone["values"]["brake_scale_u"]
    assert any("mean of 3 checks" in line for line in together["words"])
    assert any(line.startswith("2026-03-08: ") for line in together["words"])


@pytest.mark.parametrize(
    ("kind", "told", "missing"),
    [
        ("known_torque", {"torque_u_nm": 0.1}, {"torque_nm"}),
        ("known_mass", {"hung_mass_kg": 20.0}, {"hung_mass_u_kg", "hung_radius_m", "hung_radius_u_m"}),
        ("known_mass", {"hung_mass_kg": 20.0, "hung_mass_u_kg": 0.01, "hung_radius_m": 0.2}, {"hung_radius_u_m"}),
        ("known_mass", {"disc_inertia_kg_m2": 0.8}, {"disc_inertia_u_kg_m2"}),
    ],
)
def test_only_the_figures_that_are_missing_are_asked_for(tuner, house, kind, told, missing):
    answer = send_evidence(tuner, house, coast_csv(), kind=kind, **told)
    assert answer.status_code == 422
    assert {problem["field"].split(".")[-1] for problem in answer.json()["problems"]} == missing


def test_a_list_of_evidence_opens_no_file(tuner, house, path, statements):
    kept = made(send_evidence(tuner, house, coast_csv()))
    statements.clear()
    (listed,) = tuner.get(f"{path}/calibration-evidence").json()["items"]
    assert listed == {name: value for name, value in kept.items() if name not in ("coast_down", "brake", "failure")}
    assert not any("column_block" in one or "raw_file" in one for one in statements)


def test_chosen_evidence_is_proposed_and_made_into_a_calibration(owner, house, path):
    worn = Rollers(4.2, (2.6, 0.016, 2.1e-4))
    ids = [
        made(send_evidence(owner, house, coast_csv(worn, seed), file_name=f"c{seed}.csv"))["id"] for seed in (1, 2, 3)
    ]
    ids.append(made(owner.post(f"{path}/calibration-evidence/entered", json=weights()))["id"])
    proposal = owner.get(f"{path}/calibration-evidence/proposal", params={"evidence_id": ids}).json()
    values = proposal["values"]
    assert values["loss_c0_nm"] == pytest.approx(2.6, abs=0.1)
    assert values["brake_scale"] == pytest.approx(1.02, rel=1e-6)
    assert values["roller_radius_m"] == CALIBRATION["roller_radius_m"]
    assert "roller_radius_m" not in proposal["from_evidence"]
    told = {"valid_from": "2026-03-10T08:00:00+00:00", "reason": "Bearings", "evidence_ids": ids}
    kept = made(owner.post(f"{path}/calibrations", json={**values, **told}))
    assert kept["evidence_ids"] == sorted(ids)
    listed = owner.get(f"{path}/calibrations").json()["items"]
    assert [one["evidence_ids"] for one in listed] == [sorted(ids), []]


def test_a_brake_held_at_a_known_torque_doubts_a_wrong_inertia(owner, house, path):
    heavy = Rollers(4.6, LIGHT.losses)
    ids = [made(send_evidence(owner, house, coast_csv(heavy, seed)))["id"] for seed in (1, 2)]
    for seed in (3, 4):
        data = coast_csv(heavy, seed, torque_nm=20.0)
        told = {"kind": "known_torque", "torque_nm": 20.0, "torque_u_nm": 0.05}
        ids.append(made(send_evidence(owner, house, data, **told))["id"])
    proposal = owner.get(f"{path}/calibration-evidence/proposal", params={"evidence_id": ids}).json()
    assert proposal["inertia"]["z"] > 3.0
    assert proposal["values"]["inertia_kg_m2"] == pytest.approx(4.6, rel=0.02)
    assert proposal["values"]["loss_c0_nm"] == pytest.approx(1.8, abs=0.15)


def test_evidence_of_another_cell_makes_no_calibration_here(owner, house, path):
    other = made(
        owner.post("/api/v1/cells", json={"name": "Two", "drive": "two_wheel", "has_brake": False, "altitude_m": 1})
    )
    foreign = made(send_evidence(owner, house, coast_csv(), cell_id=other["id"]))
    assert "no calibration yet" in foreign["failure"]
    answer = owner.post(f"{path}/calibrations", json={**CALIBRATION, "evidence_ids": [foreign["id"]]})
    assert answer.status_code == 422
    assert owner.get(f"{path}/calibration-evidence/proposal", params={"evidence_id": foreign["id"]}).status_code == 422
    assert owner.get(f"{path}/calibration-evidence/{foreign['id']}").status_code == 404


def test_filing_stands_in_the_trail(owner, house):
    kept = made(send_evidence(owner, house, coast_csv()))
    entries = owner.get("/api/v1/audit").json()["items"]
    assert ("file", "calibration evidence", kept["id"]) in [
        (one["action"], one["record"], one["record_id"]) for one in entries
    ]
