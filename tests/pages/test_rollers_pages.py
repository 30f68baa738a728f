"""The pages about rollers: evidence and what it comes to, reference cars and whether a cell is steady."""

from datetime import timedelta

import pytest

from pullbook.pages.calibration_page import NOT_FITTED, READ_AT_ONCE
from tests.api.coast_files import coast_csv, send_evidence, weights
from tests.api.pull_files import Steady, filed
from tests.furnishing import CALIBRATION, START, made
from tests.measure.made_coasts import LIGHT, Rollers


@pytest.fixture
def page(owner):
    def read(path, **query):
        answer = owner.get(path, params=query, headers={"Accept": "text/html"})
        assert answer.status_code == 200, answer.text
        return answer.text

    return read


def test_an_empty_cell_says_what_to_do_first(owner, page):
    cell = made(
        owner.post("/api/v1/cells", json={"name": "New", "drive": "two_wheel", "has_brake": False, "altitude_m": 9})
    )
    html = page(f"/cells/{cell['id']}")
    assert "Enter a first one by hand" in html
    assert "Coast the bare rollers down" in html
    assert "hanging weights" not in html


def test_chosen_evidence_shows_what_it_comes_to_and_a_form_filled_with_it(owner, house, page):
    run = made(send_evidence(owner, house, coast_csv()))
    load = made(owner.post(f"/api/v1/cells/{house.cell_id}/calibration-evidence/entered", json=weights()))
    html = page(f"/cells/{house.cell_id}", evidence_id=[run["id"], load["id"]])
    assert 'name="brake_scale" inputmode="decimal" data-as="number" value="1.02"' in html
    assert html.count('name="evidence_ids"') == 2
    assert "Guards on" in html
    assert "hanging weights fall" in html
    assert "Left by the fit" in html


def test_only_the_latest_pieces_are_fitted_and_earlier_ones_when_they_are_ticked(owner, house, page):
    for seed in range(READ_AT_ONCE + 2):
        at = (START - timedelta(days=seed + 1)).isoformat()
        last = made(send_evidence(owner, house, coast_csv(seed=seed + 1), taken_at=at))
    html = page(f"/cells/{house.cell_id}")
    assert html.count("in force when it was taken") == READ_AT_ONCE
    assert html.count(NOT_FITTED) == 2
    ticked = page(f"/cells/{house.cell_id}", evidence_id=[last["id"]])
    assert ticked.count("in force when it was taken") == READ_AT_ONCE + 1


def test_an_inertia_that_does_not_agree_is_warned_of(owner, house, page):
    heavy = Rollers(4.8, LIGHT.losses)
    ids = [made(send_evidence(owner, house, coast_csv(heavy, seed)))["id"] for seed in (1, 2)]
    told = {"kind": "known_torque", "torque_nm": 20.0, "torque_u_nm": 0.05}
    ids.append(made(send_evidence(owner, house, coast_csv(heavy, 3, torque_nm=20.0), **told))["id"])
    assert "J does not agree with the calibration" in page(f"/cells/{house.cell_id}", evidence_id=ids)


def test_a_cell_or_car_nobody_has_is_not_found(owner, house):
    for path in ("/cells/0123456789abc", "/reference-cars/0123456789abc"):
        assert owner.get(path, headers={"Accept": "text/html"}).status_code == 404


def test_the_rollers_page_offers_cars_that_were_pulled(tuner, house, page):
    assert "No car with pulls is left" in page("/reference-cars")
    filed(tuner, house, Steady().csv())
    html = page("/reference-cars")
    assert "QX 418 T" in html
    assert "coast-downs and weights" in html


def test_a_reference_cars_page_names_the_visit_that_is_out_and_draws_it(tuner, house, page):
    asked = {"vehicle_id": house.vehicle_id, "name": "Old Stilt", "band_low_rpm": 2200.0, "band_high_rpm": 4800.0}
    car = made(tuner.post("/api/v1/reference-cars", json={**asked, "first_pulls": 4}))
    assert "No sweep of this car" in page(f"/reference-cars/{car['id']}")
    for place, gain in enumerate((8.0, 8.05, 7.97, 8.02, 7.3)):
        at = START - timedelta(weeks=6 - place)
        filed(tuner, house, Steady(gain_rad_s2=gain).csv(), taken_at=at.isoformat(), file_name=f"{place}.csv")
    html = page(f"/reference-cars/{car['id']}")
    assert "Out of control at the latest visit" in html
    assert "rule 1: beyond three sigma" in html
    assert html.count("<svg") >= 2
    assert "coast the bare rollers down" in html
    assert "out of control at the latest visit" in page("/reference-cars")


def test_a_pull_shows_what_another_calibration_would_have_said(owner, tuner, house, page):
    pull = filed(tuner, house, Steady().csv())
    assert "What another calibration would have said" not in page(f"/pulls/{pull['id']}")
    later = {**CALIBRATION, "valid_from": START.isoformat(), "inertia_kg_m2": 4.62}
    made(owner.post(f"/api/v1/cells/{house.cell_id}/calibrations", json=later))
    html = page(f"/pulls/{pull['id']}")
    assert "What another calibration would have said" in html
    assert "not in force" in html


def test_a_cars_coast_down_shows_its_drag_and_calls_power_an_estimate(tuner, house, page):
    together = Rollers(5.3, (10.8, 0.092, 8.1e-4))
    pull = filed(tuner, house, coast_csv(together, top_rad_s=110.0), kind="coast_down", file_name="coast.csv")
    html = page(f"/pulls/{pull['id']}")
    assert "What the coasting car takes" in html
    assert "An estimate, not a measurement" in html
    filed(tuner, house, Steady().csv())
    assert "Estimated at the engine" in page(f"/pulls/{pull['id']}")
