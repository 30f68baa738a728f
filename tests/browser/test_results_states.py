"""The customer's page in every state it can be in: clean by axe, light and dark, wide and on a phone."""

from typing import Any

import pytest

from pullbook.pages.results_voice import LANGUAGES
from tests.browser.policy import faults, refused, spills, watch
from tests.browser.results_states import STATES, TITLES, Shop, made

PHONE = {"width": 390, "height": 844}
WIDE = {"width": 1280, "height": 900}


@pytest.fixture
def shop(open_context: Any, address: str, house: Any) -> Shop:
    return Shop(open_context("owner").request, address, house)


@pytest.mark.parametrize("state", STATES)
def test_each_state_is_clean_light_and_dark_and_fits_a_phone(page_as: Any, shop: Shop, state: str) -> None:
    page = watch(page_as(color_scheme="light", viewport=PHONE, locale="en-GB"))
    page.goto(made(shop, state))
    if state in TITLES:
        assert TITLES[state] in page.locator("main").inner_text(), state
    if page.locator("#chart").count():
        page.wait_for_selector("#explore-speed")
        page.get_by_text("The numbers", exact=True).click()
    found = {"light": faults(page) + refused(page) + (["scrolls sideways"] if spills(page) else [])}
    page.emulate_media(color_scheme="dark")
    found["dark"] = faults(page)
    page.set_viewport_size(WIDE)
    found["wide"] = faults(page) + (["scrolls sideways"] if spills(page) else [])
    if state == "ended":
        page.complaints.clear()  # the browser says of itself that it was answered 404
    assert {name: wrong for name, wrong in found.items() if wrong} == {}


@pytest.mark.parametrize("language", LANGUAGES)
def test_each_language_is_clean_and_says_which_it_is(page_as: Any, shop: Shop, language: str) -> None:
    url = made(shop, "amended")
    page = watch(page_as(viewport=PHONE))
    page.goto(f"{url}?lang={language}")
    assert page.evaluate("document.documentElement.lang") == language
    assert faults(page) + refused(page) == []
    assert not spills(page)


def test_the_switch_leads_to_the_other_language_and_other_units_stay_as_chosen(page_as: Any, shop: Shop) -> None:
    page = page_as(viewport=PHONE)
    page.goto(made(shop, "fresh"))
    page.get_by_role("link", name="hp, lbf·ft").click()
    assert "hp" in page.locator("p.lead").inner_text()
    page.get_by_role("link", name="Deutsch").click()
    assert page.locator("p.lead").inner_text().startswith("Vorher (A, As it came) lag die größte Leistung bei ")
    assert "hp" in page.locator("p.lead").inner_text()


def test_arrow_keys_and_a_finger_read_the_chart(page_as: Any, shop: Shop) -> None:
    page = page_as(viewport=PHONE, has_touch=True)
    page.goto(made(shop, "fresh"))
    slider = page.get_by_role("slider", name="Look at one engine speed")
    slider.focus()
    before = slider.get_attribute("aria-valuetext")
    page.keyboard.press("ArrowRight")
    after = slider.get_attribute("aria-valuetext")
    assert before != after
    assert after.startswith("At ")
    assert "A: " in after
    assert "kW" in after
    box = page.locator("#chart .plot svg").bounding_box()
    page.touchscreen.tap(box["x"] + 0.8 * box["width"], box["y"] + 40)
    assert slider.get_attribute("aria-valuetext") not in (before, after)
    # what is said is what the table has for that speed
    page.get_by_text("The numbers", exact=True).click()
    speed = page.locator("table.tight tbody tr").nth(3).locator("th").inner_text()
    wanted = f"At {speed}\u00a0rev/min"
    for _ in range(200):
        if slider.get_attribute("aria-valuetext").startswith(wanted):
            break
        slider.press("ArrowLeft")
    assert slider.get_attribute("aria-valuetext").startswith(wanted)
    first = page.locator("table.tight tbody tr").nth(3).locator("td").first.inner_text()
    assert f"A: {first}\u00a0kW" in slider.get_attribute("aria-valuetext")


def test_the_chart_fills_the_screen_and_escape_leads_back(page_as: Any, shop: Shop) -> None:
    page = watch(page_as(viewport=PHONE))
    page.goto(made(shop, "fresh"))
    page.get_by_role("button", name="Full screen").click()
    assert page.locator("dialog[open] #chart").count() == 1
    page.get_by_role("button", name="Closer").click()
    assert page.evaluate("(p => p.scrollWidth > p.clientWidth)(document.querySelector('dialog .plot'))")
    assert faults(page) + refused(page) == []
    page.keyboard.press("Escape")
    assert page.locator("main #chart").count() == 1
    assert page.locator("dialog").count() == 0


@pytest.mark.parametrize(("paper", "most"), [("A4", 2), ("Letter", 2)])
def test_it_prints_on_one_page_or_two(page_as: Any, shop: Shop, paper: str, most: int) -> None:
    for state in ("fresh", "amended"):
        page = page_as(viewport=WIDE, color_scheme="dark")
        page.goto(made(shop, state))
        pdf = page.pdf(format=paper, prefer_css_page_size=False)
        assert 1 <= pdf.count(b"/Type /Page\n") <= most, f"{state} on {paper}"


def test_the_code_to_the_check_page_stands_on_paper_alone(page_as: Any, shop: Shop) -> None:
    page = page_as(viewport=WIDE)
    page.goto(made(shop, "one_setup"))
    code = page.locator(".paper-code svg")
    assert not code.is_visible()
    page.emulate_media(media="print")
    box = code.bounding_box()
    assert round(box["width"] / 96 * 25.4) == round(box["height"] / 96 * 25.4) == 24, "mm"
