"""Main screens hold WCAG 2.2 AA as far as axe can tell, in light and in dark, and fit a phone."""

import re
from typing import Any

import pytest

from tests.browser.policy import faults, refused, spills, watch
from tests.browser.results_states import Shop

SCREENS = (
    *("sign_in", "board", "new_ticket", "ticket", "compare", "pull", "fuel_map", "channel_map", "weather"),
    *("cells", "staff", "shop", "results", "pin", "publish", "preview", "links", "link", "no_results"),
    *("waiver", "checklist", "check_at_car", "job_sheet", "check_page", "check_answer", "month", "month_tickets"),
    *("month_flags", "archive", "archive_found", "archive_none", "like", "keeping", "statement", "prices", "account"),
    *("calibrate", "reference_cars", "tray", "devices", "audit"),
)


LOWER_THAN_48 = """() => ["button", "select", "label.tick", ".button", "input"]
    .flatMap((kind) => [...document.querySelectorAll(`main ${kind}`)])
    .filter((one) => !["checkbox", "radio", "hidden"].includes(one.type))
    .filter((one) => !one.classList.contains("visually-hidden"))  // its label is what is pressed
    .filter((one) => one.offsetParent && one.getBoundingClientRect().height < 47.5)
    .map((one) => one.outerHTML.slice(0, 120))"""


@pytest.fixture
def paths(open_context: Any, address: str, house: Any) -> dict[str, str]:
    """Where each screen is, with two pulls filed and published."""
    shop = Shop(open_context("owner").request, address, house)
    pulls = [
        shop.file(house.ticket_id, setup_id, gain, 45)
        for setup_id, gain in ((house.setup_id, 8.0), (house.second_setup_id, 8.6))
    ]
    link = shop.link(house.ticket_id, pulls, standard="iso_1585", note="")
    locked = shop.link(house.ticket_id, pulls, standard="iso_1585", pin="839201")
    fingerprint = re.search(r"/r/check\?f=[0-9a-f]{64}", shop.api.get(link["url"]).text())
    assert fingerprint is not None
    return {
        **_at_the_desk(house, pulls[0]),
        **_beside_the_desk(house),
        "compare": f"/compare?pull_id={pulls[0]}&pull_id={pulls[1]}&standard=iso_1585",
        "preview": f"/tickets/{house.ticket_id}/preview?pull_id={pulls[0]}&pull_id={pulls[1]}&standard=iso_1585",
        "results": link["url"],
        "pin": locked["url"],
        "link": f"/links/{link['id']}",
        "no_results": "/r/never",
        "check_page": "/r/check",
        "check_answer": fingerprint[0],
    }


def _at_the_desk(house: Any, pull_id: str) -> dict[str, str]:
    """What is looked at of one job."""
    return {
        "sign_in": "/sign-in",
        "board": "/",
        "new_ticket": "/tickets/new",
        "ticket": f"/tickets/{house.ticket_id}",
        "job_sheet": f"/tickets/{house.ticket_id}/job-sheet",
        "check_at_car": f"/tickets/{house.ticket_id}/check?cell_id={house.cell_id}",
        "statement": f"/tickets/{house.ticket_id}/statement",
        "publish": f"/tickets/{house.ticket_id}/publish",
        "pull": f"/pulls/{pull_id}",
        "like": f"/pulls/{pull_id}/like",
        "channel_map": f"/pulls/{pull_id}/channel-map",
        "fuel_map": f"/fuel-map?setup_id={house.setup_id}&load_axis=throttle_pct&wanted=0.88",
        "archive": "/archive",
        "archive_found": "/archive?q=intake",
        "archive_none": "/archive?q=nothingofthatname",
        "links": "/links",
        "weather": "/weather",
        "prices": "/prices",
        "account": "/account",
    }


def _beside_the_desk(house: Any) -> dict[str, str]:
    """What owners and tuners look at."""
    return {
        "cells": "/cells",
        "calibrate": f"/cells/{house.cell_id}",
        "reference_cars": "/reference-cars",
        "staff": "/staff",
        "shop": "/shop",
        "waiver": "/waiver",
        "checklist": "/checklist",
        "month": "/month?month=2026-03",
        "month_tickets": "/month/tickets?month=2026-03&figure=opened",
        "month_flags": "/month/flags?month=2026-03",
        "keeping": "/keeping",
        "tray": "/tray",
        "devices": "/devices",
        "audit": "/audit",
    }


def _settle(page: Any, name: str) -> None:
    if name in ("compare", "pull"):
        page.wait_for_selector("#plot .main-svg")
    if name == "channel_map":
        page.wait_for_selector("#column-rows select")


def _forgive(page: Any, name: str) -> None:
    """The browser says of itself that a page which is not there was answered 404."""
    if name == "no_results":
        page.complaints.clear()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_main_screens_are_clean_wide(page_as: Any, paths: dict[str, str], scheme: str) -> None:
    page = watch(page_as("owner", color_scheme=scheme, viewport={"width": 1440, "height": 900}))
    found = {}
    for name in SCREENS:
        page.goto(paths[name])
        _settle(page, name)
        if wrong := faults(page) + refused(page):
            found[name] = wrong
        _forgive(page, name)
    assert found == {}


def test_main_screens_fit_a_phone_and_are_clean_there(page_as: Any, paths: dict[str, str]) -> None:
    page = watch(page_as("owner", viewport={"width": 390, "height": 844}))
    found = {}
    for name in SCREENS:
        page.goto(paths[name])
        _settle(page, name)
        wrong = faults(page) + refused(page) + (["scrolls sideways"] if spills(page) else [])
        if wrong:
            found[name] = wrong
        _forgive(page, name)
    assert found == {}


def test_what_is_pressed_in_the_cell_is_48_px_high(page_as: Any, paths: dict[str, str]) -> None:
    page = page_as("owner", viewport={"width": 820, "height": 1180})
    for name in ("ticket", "compare"):
        page.goto(paths[name])
        _settle(page, name)
        small = page.evaluate(LOWER_THAN_48)
        assert small == []


def test_the_switch_turns_the_sheet_dark_and_stays_so(page_as: Any, paths: dict[str, str]) -> None:
    page = page_as("owner", color_scheme="light")
    page.goto(paths["board"])
    light = page.evaluate("getComputedStyle(document.body).backgroundColor")
    page.locator(".who summary").press("Enter")
    page.get_by_role("button", name="Light / dark").click()
    page.wait_for_function("(was) => getComputedStyle(document.body).backgroundColor !== was", arg=light)
    page.goto(paths["weather"])
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") != light


def test_print_is_black_on_white_whatever_the_screen_is(page_as: Any, paths: dict[str, str]) -> None:
    page = page_as("owner", color_scheme="dark")
    page.goto(paths["results"])
    page.emulate_media(media="print", color_scheme="dark")
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert page.evaluate("getComputedStyle(document.querySelector('h1')).color") == "rgb(31, 37, 48)"
