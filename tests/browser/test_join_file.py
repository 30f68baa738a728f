"""Dropping a second logger's file on the page of a pull: it is sent, laid on the clock, and can be moved by hand."""

import re
from typing import Any

from tests.api.beside_files import Answered, without_mixture
from tests.api.pull_files import filed
from tests.api.test_map_joined_file import box


def test_a_second_file_is_joined_moved_by_hand_and_found_again(page_as: Any, tuner: Any, house: Any) -> None:
    pull = filed(tuner, house, without_mixture())
    page = page_as("tuner")
    page.goto(f"/pulls/{pull['id']}")
    log = {"name": "drive 4.log", "mimeType": "text/plain", "buffer": Answered().can()}
    page.set_input_files("#joined-file", log)
    page.wait_for_selector("text=drive 4.log is joined: it lies -3.000 s off this pull’s clock.")
    assert page.locator("#joined svg").first.is_visible()
    for typed, shown in (("-2,5", "set by hand"), ("", "found by engine speed")):
        page.get_by_label("Offset by hand, s").fill(typed)
        page.get_by_role("button", name="Set the offset").click()
        page.wait_for_selector(f"#joined dd:has-text('{shown}')")


def test_what_is_no_log_says_why_and_nothing_is_lost(page_as: Any, tuner: Any, house: Any) -> None:
    pull = filed(tuner, house, without_mixture())
    page = page_as("tuner", viewport={"width": 390, "height": 844})
    page.goto(f"/pulls/{pull['id']}")
    picture = {"name": "photo.png", "mimeType": "image/png", "buffer": b"\x89PNG\r\n\x1a\n" + bytes(5000)}
    page.set_input_files("#joined-file", picture)
    page.wait_for_selector("#joined .outcome:has-text('picture')")
    assert re.search("not joined", page.locator("#joined [data-sending]").inner_text())
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_a_file_with_numbered_columns_is_told_what_they_are(page_as: Any, tuner: Any, house: Any) -> None:
    pull = filed(tuner, house, without_mixture())
    page = page_as("tuner")
    page.goto(f"/pulls/{pull['id']}")
    page.set_input_files("#joined-file", {"name": "box.csv", "mimeType": "text/csv", "buffer": box()})
    page.wait_for_selector("text=box.csv is kept as it came, and not readable yet")
    page.get_by_role("link", name="Say which column is what").click()
    for header, quantity, unit in (("K0", "time_s", "ms"), ("K1", "engine_speed_rpm", "rev_min")):
        page.get_by_label(f"{header} is", exact=True).select_option(quantity)
        page.get_by_label(f"{header} is in", exact=True).select_option(unit)
    page.get_by_label("K2 is", exact=True).select_option("lambda_measured")
    page.get_by_label("K2 is in", exact=True).select_option("lambda")
    page.wait_for_selector("#preview-words:has-text('3 columns are used')")
    page.get_by_label("Keep this map as").fill("The box")
    page.get_by_role("button", name="Keep the map and read the file with it").click()
    page.wait_for_selector("#joined dd:has-text('λ measured')")
