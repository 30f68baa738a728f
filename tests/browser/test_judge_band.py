"""The band that is judged: dragged on the chart, moved by keys, typed without script; the verdict follows each."""

import re
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest

from tests.api.pull_files import Steady, filed
from tests.browser.policy import faults, refused, spills, watch

TABLET = {"viewport": {"width": 1024, "height": 768}}


@pytest.fixture
def address_of_two(tuner: Any, house: Any) -> str:
    """Three pulls of each of two setups."""
    ids = []
    for setup_id, gains in ((house.setup_id, (8.0, 8.03, 7.99)), (house.second_setup_id, (8.3, 8.34, 8.29))):
        for gain in gains:
            ids.append(filed(tuner, house, Steady(gain_rad_s2=gain).csv(), setup_id=setup_id)["id"])
    return f"/compare?{'&'.join(f'pull_id={one}' for one in ids)}&standard=iso_1585"


@pytest.fixture
def judged(page_as: Any, address_of_two: str) -> Any:
    """The page with its handles."""
    page = page_as("tuner", **TABLET)
    page.goto(address_of_two)
    page.wait_for_selector(".band-handle")
    return page


def _asked(page: Any) -> dict[str, list[str]]:
    return parse_qs(urlsplit(page.url).query)


def _wait_for(page: Any, name: str) -> float:
    page.wait_for_function("(name) => new URLSearchParams(location.search).has(name)", arg=name)
    page.wait_for_selector(".band-handle")
    return float(_asked(page)[name][0])


def test_dragging_a_handle_judges_over_the_new_band(judged: Any) -> None:
    before = judged.inner_text(".verdict")
    handle = judged.locator(".band-low")
    handle.evaluate("(handle) => handle.scrollIntoView({block: 'center'})")
    was = float(handle.get_attribute("aria-valuenow"))
    box = handle.bounding_box()
    judged.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    judged.mouse.down()
    judged.mouse.move(box["x"] + box["width"] / 2 + 200, box["y"] + box["height"] / 2, steps=6)
    judged.mouse.up()
    low = _wait_for(judged, "band_low_rpm")
    assert low > was + 100.0
    assert low % 50.0 == 0.0
    assert judged.input_value("#band_low_rpm") == f"{low:.0f}"
    after = judged.inner_text(".verdict")
    assert after != before
    assert f"over {low:,.0f}".replace(",", "\u202f") in after


def test_a_handle_goes_by_keys_and_keeps_them_when_the_page_is_judged_anew(judged: Any) -> None:
    handle = judged.locator(".band-high")
    was = float(handle.get_attribute("aria-valuenow"))
    handle.focus()
    for _ in range(4):
        judged.keyboard.press("ArrowLeft")
    judged.keyboard.press("Shift+ArrowLeft")
    assert _wait_for(judged, "band_high_rpm") == was - 14 * 50.0
    judged.wait_for_function("() => document.activeElement?.classList.contains('band-high')")
    assert judged.locator(".band-high").get_attribute("aria-valuetext") == f"{was - 700.0:.0f} rev/min"


def test_ends_of_the_band_never_cross_nor_leave_what_all_pulls_share(judged: Any) -> None:
    low, high = judged.locator(".band-low"), judged.locator(".band-high")
    reach = judged.locator(".drawing").evaluate("(drawing) => ({...drawing.dataset})")
    low.focus()
    judged.keyboard.press("End")
    assert float(low.get_attribute("aria-valuenow")) == float(reach["bandHigh"]) - 100.0
    judged.keyboard.press("Home")
    high.focus()
    judged.keyboard.press("End")
    assert float(high.get_attribute("aria-valuenow")) == float(reach["bandMost"])


def test_back_goes_to_the_band_before(judged: Any) -> None:
    judged.click("#choosing > summary")
    judged.fill("#band_low_rpm", "3000")
    judged.keyboard.press("Tab")
    _wait_for(judged, "band_low_rpm")
    judged.go_back()
    judged.wait_for_function("() => document.querySelector('#band_low_rpm').value === ''")
    assert "3\u202f000 to" not in judged.inner_text(".verdict")


def test_the_band_is_asked_for_without_script_too(open_context: Any, address_of_two: str) -> None:
    page = open_context("tuner", java_script_enabled=False).new_page()
    page.goto(address_of_two)
    assert page.locator("svg .judged").count() > 1
    page.click("#choosing > summary")
    page.fill("#band_low_rpm", "3000")
    page.fill("#band_high_rpm", "4 000")
    page.click("#choice-button")
    assert _asked(page)["band_low_rpm"] == ["3000"]
    assert "over 3\u202f000 to 4\u202f000" in page.inner_text(".verdict")
    page.click("#choosing > summary")
    page.fill("#band_high_rpm", "2000")
    page.click("#choice-button")
    assert "ends before it begins" in page.inner_text("#first-words")
    assert re.search(r"Gain: [\d.]+", page.inner_text(".verdict"))


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1280])
def test_verdict_and_band_are_clean_and_fit(page_as: Any, address_of_two: str, scheme: str, width: int) -> None:
    page = watch(page_as("tuner", color_scheme=scheme, viewport={"width": width, "height": 900}))
    page.goto(address_of_two)
    page.wait_for_selector(".band-handle")
    assert faults(page) + refused(page) == []
    assert not spills(page)
