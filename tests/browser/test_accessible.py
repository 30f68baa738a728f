"""Main screens hold WCAG 2.2 AA as far as axe can tell, in light and in dark, and fit a phone."""

from typing import Any

import pytest

from tests.api.pull_files import Steady
from tests.browser.policy import faults, refused, spills, watch

SCREENS = (
    *("sign_in", "board", "new_ticket", "ticket", "compare", "pull", "fuel_map", "channel_map", "weather"),
    *("cells", "staff", "shop", "results", "pin", "publish", "preview", "links", "link", "no_results"),
)


LOWER_THAN_48 = """() => ["button", "select", "label.tick", ".button", "input"]
    .flatMap((kind) => [...document.querySelectorAll(`main ${kind}`)])
    .filter((one) => !["checkbox", "radio", "hidden"].includes(one.type))
    .filter((one) => one.offsetParent && one.getBoundingClientRect().height < 47.5)
    .map((one) => one.outerHTML.slice(0, 120))"""


def _two_pulls(api: Any, house: Any, address: str) -> list[str]:
    """One pull of each setup, filed; their ids."""
    pulls = []
    for setup_id, gain in ((house.setup_id, 8.0), (house.second_setup_id, 8.6)):
        asked = {
            "setup_id": setup_id, "cell_id": house.cell_id, "kind": "sweep",
            "taken_at": "2026-03-10T08:45:00+00:00", "file_name": f"run {gain}.csv",
        }  # fmt: skip
        answer = api.post(
            f"/api/v1/tickets/{house.ticket_id}/pulls",
            params=asked,
            data=Steady(gain_rad_s2=gain).csv(),
            headers={"Content-Type": "text/csv", "Origin": address},
        )
        assert answer.status == 201, answer.text()
        pulls.append(answer.json()["id"])
    return pulls


@pytest.fixture
def paths(open_context: Any, address: str, house: Any) -> dict[str, str]:
    """Where each screen is, with two pulls filed and published."""
    api = open_context("owner").request
    pulls = _two_pulls(api, house, address)
    link = api.post(
        f"/api/v1/tickets/{house.ticket_id}/results-links",
        data={"pull_ids": pulls, "standard": "iso_1585", "note": "", "days": 30},
        headers={"Origin": address},
    )
    assert link.status == 201, link.text()
    locked = api.post(
        f"/api/v1/tickets/{house.ticket_id}/results-links",
        data={"pull_ids": pulls, "standard": "iso_1585", "pin": "839201"},
        headers={"Origin": address},
    )
    return {
        "sign_in": "/sign-in",
        "board": "/",
        "new_ticket": "/tickets/new",
        "ticket": f"/tickets/{house.ticket_id}",
        "compare": f"/compare?pull_id={pulls[0]}&pull_id={pulls[1]}&standard=iso_1585",
        "pull": f"/pulls/{pulls[0]}",
        "fuel_map": f"/fuel-map?setup_id={house.setup_id}&load_axis=throttle_pct&wanted=0.88",
        "channel_map": f"/pulls/{pulls[0]}/channel-map",
        "weather": "/weather",
        "cells": "/cells",
        "staff": "/staff",
        "shop": "/shop",
        "results": link.json()["url"],
        "pin": locked.json()["url"],
        "publish": f"/tickets/{house.ticket_id}/publish",
        "preview": f"/tickets/{house.ticket_id}/preview?pull_id={pulls[0]}&pull_id={pulls[1]}&standard=iso_1585",
        "links": "/links",
        "link": f"/links/{link.json()['id']}",
        "no_results": "/r/never",
    }


def _settle(page: Any, name: str) -> None:
    if name in ("compare", "pull"):
        page.wait_for_selector("#plot .main-svg")
    if name == "channel_map":
        page.wait_for_selector("#column-rows select")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_main_screens_are_clean_wide(page_as: Any, paths: dict[str, str], scheme: str) -> None:
    page = watch(page_as("owner", color_scheme=scheme, viewport={"width": 1440, "height": 900}))
    found = {}
    for name in SCREENS:
        page.goto(paths[name])
        _settle(page, name)
        if wrong := faults(page) + refused(page):
            found[name] = wrong
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
