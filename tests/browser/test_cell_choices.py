"""Choices in the cell: one can go back on each, a refusal keeps what is shown, a forecast's pressure is mended."""

import os
import re
from pathlib import Path
from typing import Any

import pytest

from tests.api.pull_files import Steady, filed
from tests.furnishing import START

TABLET = {"viewport": {"width": 1024, "height": 768}, "has_touch": True}


@pytest.fixture
def compared(page_as: Any, tuner: Any, house: Any) -> Any:
    """A comparison of one pull on a tablet, drawn and ready for a finger."""
    pull_id = filed(tuner, house, Steady().csv())["id"]
    page = page_as("tuner", **TABLET)
    page.goto(f"/compare?pull_id={pull_id}&standard=iso_1585")
    page.wait_for_selector("#readout caption")
    page.click("#choosing > summary")
    return page


def test_back_goes_to_the_choice_before(compared: Any) -> None:
    compared.select_option("#standard", "sae_j607")
    compared.wait_for_function("() => location.search.includes('sae_j607')")
    compared.go_back()
    compared.wait_for_function("() => document.querySelector('#standard').value === 'iso_1585'")
    assert "ISO 1585" in compared.inner_text(".headline caption >> nth=0")


def test_a_window_that_will_not_do_is_said_and_what_is_shown_stays(compared: Any) -> None:
    before, address = compared.inner_text(".headline >> nth=0"), compared.url
    compared.fill("#window_s", "wide")
    compared.keyboard.press("Tab")
    compared.wait_for_selector("#choice .form-problem")
    assert "seconds, like 0.6, would do" in compared.inner_text("#choice .form-problem")
    assert compared.inner_text(".headline >> nth=0") == before
    assert compared.input_value("#window_s") == "wide"
    assert compared.url == address
    compared.complaints.clear()
    compared.fill("#window_s", "0,6")
    compared.keyboard.press("Tab")
    compared.wait_for_function("() => location.search.includes('window_s=0')")
    assert compared.locator("#choice .form-problem").count() == 0


def test_a_finger_places_the_cursor(compared: Any) -> None:
    compared.evaluate("() => document.querySelector('#plot').scrollIntoView({block: 'end'})")
    was = compared.inner_text("#readout caption")
    box = compared.locator("#plot").bounding_box()
    compared.touchscreen.tap(box["x"] + box["width"] / 3, box["y"] + box["height"] - 150)
    compared.wait_for_function("(was) => document.querySelector('#readout caption').textContent !== was", arg=was)


def test_a_file_refused_for_what_it_is_is_not_offered_again(page_as: Any, house: Any, tmp_path: Path) -> None:
    picture = tmp_path / "picture.png"
    picture.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(range(256)))
    os.utime(picture, (START.timestamp() - 60, START.timestamp() - 60))
    page = page_as("tuner", **TABLET)
    page.goto(f"/tickets/{house.ticket_id}")
    page.set_input_files("#drop-files", [picture])
    page.wait_for_selector(".sending li .stamp")
    said = page.inner_text(".sending li")
    assert "picture" in said
    assert "Send it again" not in said


def test_a_sea_level_pressure_up_high_is_questioned_and_converted(page_as: Any, owner: Any, house: Any) -> None:
    cell = {"name": "High cell", "drive": "all_wheel", "has_brake": False, "altitude_m": 1680.0}
    high = owner.post("/api/v1/cells", json=cell).json()["id"]
    page = page_as("tuner", **TABLET)
    page.goto("/weather")
    page.select_option("#cell_id", high)
    for field, value in (("#air_temperature_c", "14,5"), ("#pressure", "101,8"), ("#humidity", "55")):
        page.fill(field, value)
    page.get_by_role("button", name="convert it").tap()
    page.wait_for_function("() => !document.querySelector('[data-air-table] .warn')")
    dry = re.search(r"dry pressure ([\d.]+) kPa", page.inner_text("[data-air-words]"))
    assert dry is not None
    assert 81.0 < float(dry[1]) < 83.5  # the standard atmosphere has 82.7 kPa there
    assert page.input_value("#pressure_kind") == "altimeter_setting_kpa"
