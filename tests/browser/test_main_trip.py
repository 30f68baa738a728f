"""The main trip in a real browser: sign in, ticket by keyboard, files with progress, compare, the customer's page."""

import os
import re
from datetime import timedelta
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest

from tests.api.pull_files import UNCLEAR, Steady
from tests.browser.policy import refused, spills, watch
from tests.furnishing import START, TUNER

PHONE = {"width": 390, "height": 844}


@pytest.fixture
def files(tmp_path: Path) -> list[Path]:
    """Two files of one logger."""
    made = []
    for number, gain in enumerate((8.0, 8.3), start=1):
        path = tmp_path / f"run {number}.csv"
        path.write_bytes(Steady(gain_rad_s2=gain, seconds=9.0).csv())
        os.utime(path, (when := (START - timedelta(minutes=10 * number)).timestamp(), when))
        made.append(path)
    return made


def _upload(page: Any, house: Any, files: list[Path]) -> None:
    page.goto(f"/tickets/{house.ticket_id}")
    page.set_input_files("#drop-files", files)
    page.wait_for_selector(f".sending li:nth-child({len(files)}) .stamp")
    page.wait_for_selector(f"#pulls-section tbody tr:nth-child({len(files)})")


def test_somebody_signs_in_and_gets_where_they_wanted(page_as: Any, house: Any) -> None:
    page = watch(page_as())
    page.goto("/weather")
    page.wait_for_url(re.compile("/sign-in"))
    page.fill("#sign_in_name", TUNER.sign_in_name)
    page.fill("#password", "not this one")
    page.keyboard.press("Enter")
    page.wait_for_selector(".form-problem")
    assert page.input_value("#sign_in_name") == TUNER.sign_in_name
    page.complaints.clear()  # the refusal is on the console, as it should be
    page.fill("#password", TUNER.password)
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile("/weather$"))
    assert refused(page) == []


def test_a_ticket_is_opened_by_the_keyboard_alone(page_as: Any, house: Any) -> None:
    page = watch(page_as("front_desk"))
    page.goto("/tickets/new")
    page.keyboard.type("ilse", delay=20)
    page.wait_for_selector("#customer-find-found [aria-selected='true']")
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.activeElement.id === 'asked'")
    page.keyboard.type("Is the second gear noise the gearbox?")
    page.keyboard.press("Tab")
    page.keyboard.type("Cell")
    for _ in range(24):
        if page.evaluate("document.activeElement.textContent.trim()") == "Open the ticket":
            break
        page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"/tickets/[0-9a-z]{13}$"))
    assert "Is the second gear noise the gearbox?" in page.inner_text("main")
    assert refused(page) == []


def test_a_new_customer_and_car_are_added_where_one_stands_and_a_doubtful_vin_only_warns(
    page_as: Any, house: Any
) -> None:
    page = page_as("front_desk")
    page.goto("/tickets/new")
    page.fill("#customer-find", "Noor Adeyemi")
    page.get_by_role("option", name="Add “Noor Adeyemi” as a new customer").click()
    page.keyboard.type("+43 660 1")
    page.keyboard.press("Enter")
    page.wait_for_selector("#make:focus")
    page.keyboard.type("Ostrava")
    page.fill("#model", "Fen")
    page.fill("#vin", "1M8GDM9AXKP042789")  # one digit off: its check digit no longer fits
    page.get_by_role("button", name="Add car").click()
    page.wait_for_selector("#vin-warning:not([hidden])")
    page.fill("#asked", "Baseline")
    page.get_by_role("button", name="Open the ticket").click()
    page.wait_for_url(re.compile(r"/tickets/[0-9a-z]{13}$"))
    assert "Ostrava Fen" in page.inner_text("main")


def test_files_go_with_progress_and_then_stand_in_the_list(page_as: Any, house: Any, files: list[Path]) -> None:
    page = watch(page_as("tuner"))
    page.add_init_script("""
        window.shares = [];
        const tell = XMLHttpRequestUpload.prototype.addEventListener;
        XMLHttpRequestUpload.prototype.addEventListener = function (kind, run) {
            tell.call(this, kind, (event) => { window.shares.push([event.loaded, event.total]); run(event); });
        };
    """)
    _upload(page, house, files)
    outcomes = page.locator(".sending li .stamp").all_inner_texts()
    assert outcomes == ["filed", "filed"]
    shares = page.evaluate("window.shares")
    assert {total for _, total in shares} == {path.stat().st_size for path in files}
    assert all(loaded <= total for loaded, total in shares)
    assert page.locator("#pulls-section tbody tr").count() == 2
    assert refused(page) == []


def test_a_file_sent_twice_and_one_that_asks_are_both_said_in_words(
    page_as: Any, house: Any, files: list[Path], tmp_path: Path
) -> None:
    page = page_as("tuner")
    _upload(page, house, files[:1])
    unclear = tmp_path / "other logger.csv"
    unclear.write_bytes(UNCLEAR.csv())
    os.utime(unclear, (START.timestamp() - 60, START.timestamp() - 60))
    page.set_input_files("#drop-files", [files[0], unclear])
    page.wait_for_selector(".sending li:nth-child(3) .stamp")
    assert page.locator(".sending li .stamp").all_inner_texts() == [
        "filed",
        "was here already",
        "filed, not readable yet",
    ]
    page.get_by_role("link", name="say which column is what").click()
    page.wait_for_selector("#column-rows select")
    for column, quantity, unit in (("A", "roller_speed_rad_s", "rad_s"), ("B", "engine_speed_rpm", "rev_min")):
        page.get_by_label(f"{column} is", exact=True).select_option(quantity)
        page.get_by_label(f"{column} is in", exact=True).select_option(unit)
    page.get_by_text("Nothing is missing that is needed").wait_for()
    assert "rad/s" in page.inner_text("#column-rows")  # what the service made of the first values, with its unit
    page.fill("#map-name", "Logger without words")
    page.get_by_role("button", name="Keep the map and read the file with it").click()
    page.wait_for_url(re.compile(r"/pulls/[0-9a-z]{13}$"))
    assert "peak power at" in page.inner_text("main")


def test_the_address_carries_the_comparison_and_a_choice_changes_both(
    page_as: Any, house: Any, files: list[Path]
) -> None:
    page = watch(page_as("tuner"))
    _upload(page, house, files)
    page.get_by_role("button", name="Compare the ticked pulls").click()
    page.wait_for_selector("#plot .main-svg")
    asked = parse_qs(urlsplit(page.url).query)
    assert asked["standard"] == ["iso_1585"]
    assert len(asked["pull_id"]) == 2
    before = page.inner_text(".headline tbody strong >> nth=0")
    page.click("#choosing > summary")
    page.select_option("#standard", "sae_j607")
    page.wait_for_function("() => location.search.includes('standard=sae_j607')")
    page.wait_for_selector("#plot .main-svg")
    assert page.inner_text(".headline tbody strong >> nth=0") != before
    page.locator("#choice input[name='pull_id']").first.uncheck()
    page.wait_for_function("() => new URLSearchParams(location.search).getAll('pull_id').length === 1")
    page.wait_for_function("() => document.querySelector('.headline').textContent.includes('one pull')")
    address = page.url
    page.goto(address)
    assert page.input_value("#standard") == "sae_j607"
    assert refused(page) == []


def test_one_cursor_reads_all_panels_by_pointer_and_by_arrow_keys(page_as: Any, house: Any, files: list[Path]) -> None:
    page = page_as("tuner", viewport={"width": 1280, "height": 900})
    _upload(page, house, files)
    page.get_by_role("button", name="Compare the ticked pulls").click()
    page.wait_for_selector("#readout caption")
    heads = page.locator("#readout th[scope='col']").all_inner_texts()
    assert [head.split(",")[0] for head in heads[1:]] == ["Power", "Torque", "λ"]
    page.focus("#plot")
    page.keyboard.press("Home")
    first = page.inner_text("#readout caption")
    page.keyboard.press("ArrowRight")
    assert page.inner_text("#readout caption") != first
    page.keyboard.press("End")
    last = page.inner_text("#readout caption")
    box = page.locator("#plot").bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + 100)
    page.wait_for_function("(was) => document.querySelector('#readout caption').textContent !== was", arg=last)
    shown = float(re.sub(r"\D", "", page.inner_text("#readout caption")))
    assert shown % 50 == 0


def test_the_customers_page_needs_no_script_and_fits_a_phone(
    page_as: Any, open_context: Any, house: Any, files: list[Path]
) -> None:
    page = page_as("tuner")
    _upload(page, house, files)
    page.get_by_role("link", name="Publish results").click()
    page.fill("#note", "A new intake")
    with page.expect_popup() as opened:
        page.get_by_role("button", name="Preview").click()
    assert "Nothing is published yet" in opened.value.inner_text("body")
    opened.value.close()
    page.get_by_role("button", name="Publish", exact=True).click()
    page.wait_for_selector(".handout .code svg")
    code = page.locator(".handout .code path").last.bounding_box()
    assert min(code["width"], code["height"]) > 100
    address = page.input_value("#link-url")
    phone = open_context(viewport=PHONE, java_script_enabled=False).new_page()
    assert phone.goto(address).status == 200
    drawing = phone.locator("figure.chart svg[role='img']")
    box = drawing.bounding_box()
    assert box["x"] >= 0
    assert box["x"] + box["width"] <= PHONE["width"]
    assert box["height"] > 200
    assert phone.locator("path.line.mean").count() >= 2
    context = open_context(viewport=PHONE)
    with_script = watch(context.new_page())
    with_script.goto(address)
    assert not spills(with_script)
    assert refused(with_script) == []


def test_what_is_typed_survives_a_refusal_and_the_refusal_stands_beside_its_field(page_as: Any, house: Any) -> None:
    page = page_as("front_desk")
    page.goto("/weather")
    page.fill("#air_temperature_c", "21,5")
    page.fill("#pressure", "5")
    page.fill("#humidity", "40")
    page.get_by_role("button", name="Note it down").click()
    page.wait_for_selector("#pressure[aria-invalid='true']")
    page.complaints.clear()
    assert page.input_value("#air_temperature_c") == "21,5"
    assert re.search(r"40(\.0)? or more would do", page.inner_text(".field:has(#pressure) .field-problem"))
    page.fill("#pressure", "99,1")
    page.wait_for_function("() => document.querySelector('[data-air-words]').textContent.includes('kg/m³')")
    page.complaints.clear()  # while "5" stood there, the live answer was refused as well
    assert page.locator("[data-air-table] tbody tr").count() >= 6


def test_a_stale_edit_is_said_and_nothing_typed_is_lost(page_as: Any, house: Any) -> None:
    first, second = page_as("front_desk"), page_as("front_desk")
    for page in (first, second):
        page.goto(f"/tickets/{house.ticket_id}")
        page.get_by_text("Change booking, words or notes").click()
    first.fill("#change-notes", "Keys in the box")
    with first.expect_navigation():
        first.locator("form:has(#change-notes)").get_by_role("button", name="Save", exact=True).click()
    second.fill("#change-notes", "Wants a call")
    second.locator("form:has(#change-notes)").get_by_role("button", name="Save", exact=True).click()
    second.wait_for_selector(".form-problem p")
    second.complaints.clear()
    assert second.input_value("#change-notes") == "Wants a call"
    assert "load the page as it is now" in second.inner_text(".form-problem")
