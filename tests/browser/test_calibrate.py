"""A calibration is entered by keys alone, and another made from evidence that was filed on the page."""

from pathlib import Path
from typing import Any

import pytest

from tests.api.coast_files import coast_csv
from tests.api.pull_files import Steady, filed

WIDE = {"viewport": {"width": 1280, "height": 900}}
PHONE = {"viewport": {"width": 390, "height": 844}}
TYPED = {
    "inertia_kg_m2": "4,3",
    "inertia_u_kg_m2": "0.02",
    "roller_radius_m": "0.318",
    "roller_radius_u_m": "0.0003",
    "pulses_per_turn": "60",
    "loss_c0_nm": "1.9",
    "brake_arm_m": "0.35",
    "brake_arm_u_m": "0.0005",
    "reason": "Rollers turned true",
}


def _focused(page: Any) -> str:
    return str(page.evaluate("() => document.activeElement.name || document.activeElement.textContent.trim()"))


def _tab_to(page: Any, wanted: str) -> None:
    for _ in range(120):
        page.keyboard.press("Tab")
        if _focused(page) == wanted:
            return
    raise AssertionError(f"no number of Tabs comes to {wanted}")


def _no_sideways(page: Any) -> None:
    assert page.evaluate("() => document.documentElement.scrollWidth <= innerWidth")


@pytest.mark.parametrize("screen", [WIDE, PHONE], ids=["wide", "phone"])
def test_a_calibration_is_entered_by_keys_alone(page_as: Any, owner: Any, house: Any, screen: dict[str, Any]) -> None:
    page = page_as("owner", **screen)
    page.goto("/cells")
    _tab_to(page, "Add a calibration")
    page.keyboard.press("Enter")
    for name, text in TYPED.items():
        _tab_to(page, name)
        page.keyboard.press("ControlOrMeta+a")
        page.keyboard.type(text)
    _no_sideways(page)
    _tab_to(page, "Add the calibration")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    page.wait_for_selector("text=Rollers turned true")
    newest = owner.get(f"/api/v1/cells/{house.cell_id}/calibrations").json()["items"][0]
    assert newest["inertia_kg_m2"] == 4.3
    assert newest["in_force"] is True


def test_what_is_missing_is_said_at_its_field_and_nothing_typed_is_lost(page_as: Any) -> None:
    page = page_as("owner", **PHONE)
    page.goto("/cells")
    page.click("text=Add a calibration")
    form = page.locator("form[data-send$='/calibrations']")
    for name, text in (TYPED | {"inertia_kg_m2": "-4"}).items():
        form.locator(f"[name={name}]").fill(text)
    form.locator("button").click()
    page.wait_for_selector(".field-problem")
    assert _focused(page) == "inertia_kg_m2"
    assert form.locator("[name=reason]").input_value() == "Rollers turned true"
    page.complaints.clear()


@pytest.mark.parametrize("screen", [WIDE, PHONE], ids=["wide", "phone"])
def test_runs_and_weights_become_a_calibration(
    page_as: Any, owner: Any, house: Any, tmp_path: Path, screen: dict[str, Any]
) -> None:
    page = page_as("owner", **screen)
    page.goto(f"/cells/{house.cell_id}")
    run = tmp_path / "coast.csv"
    run.write_bytes(coast_csv())
    page.set_input_files("#run-file", run)
    with page.expect_navigation():
        page.click("button:text-is('File the run')")
    page.wait_for_selector("text=Kept. Tick it")
    page.fill("#steps", "0 0 up\n20 67.31 up\n40 134.6 up\n60 201.9 up\n40 134.7 down\n0 0.1 down")
    with page.expect_navigation():
        page.click("button:text-is('Enter the weights')")
    page.wait_for_selector("text=Weights on the brake")
    for box in page.locator("input[name=evidence_id]").all():
        box.check()
    page.click("button:text-is('Show what the ticked ones come to')")
    page.wait_for_selector("#proposal")
    _no_sideways(page)
    page.fill("#reason", "Once a year")
    with page.expect_navigation():
        page.click("button:text-is('Make the calibration')")
    page.wait_for_load_state()
    newest = owner.get(f"/api/v1/cells/{house.cell_id}/calibrations").json()["items"][0]
    assert len(newest["evidence_ids"]) == 2
    assert newest["brake_scale"] == pytest.approx(1.02, abs=0.005)


def test_a_line_of_weights_that_says_nothing_is_told_so(page_as: Any, house: Any) -> None:
    page = page_as("tuner", **WIDE)
    page.goto(f"/cells/{house.cell_id}")
    page.fill("#steps", "0 0 up\n20 67.31 sideways\n40 134.6 up\n60 201.9 up")
    page.click("button:text-is('Enter the weights')")
    page.wait_for_selector("#enter-weights .field-problem")
    assert "“20 67.31 sideways” cannot be read" in page.inner_text("#enter-weights .field-problem")
    assert page.input_value("#steps").startswith("0 0 up")


def test_a_car_is_made_the_reference_by_keys(page_as: Any, tuner: Any, house: Any) -> None:
    filed(tuner, house, Steady().csv())
    page = page_as("tuner", **PHONE)
    page.goto("/reference-cars")
    for name, text in (("name", "House Stilt"), ("band_low_rpm", "2200"), ("band_high_rpm", "4800")):
        _tab_to(page, name)
        page.keyboard.type(text)
    _no_sideways(page)
    _tab_to(page, "Make it the reference")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    page.wait_for_selector("h1:has-text('House Stilt')")
    _no_sideways(page)
    assert "Not to be said yet" in page.inner_text("main")
