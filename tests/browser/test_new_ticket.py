"""A ticket by the keyboard alone, from an empty page to an open ticket, every key counted."""

import re
from typing import Any

import pytest

from tests.api.pull_files import Steady, filed
from tests.browser.policy import faults, refused, watch

# what a practised hand needs for a key, and for a look at the screen: Card, Moran and Newell's keystroke-level model
# (0.28 s for an average skilled typist, 1.35 s for each decision), figures from memory
KEY_S, LOOK_S, ALLOWED_S = 0.28, 1.35, 30.0


class Keys:
    """A keyboard that counts: keys, and how often one has to look before going on."""

    def __init__(self, page: Any) -> None:
        self.page, self.pressed, self.looks = page, 0, 0

    def type(self, text: str) -> None:
        """Letter by letter."""
        self.page.keyboard.type(text, delay=15)
        self.pressed += len(text)

    def press(self, *keys: str) -> None:
        """One after the other."""
        for key in keys:
            self.page.keyboard.press(key)
            self.pressed += 1

    def look_for(self, words: str) -> None:
        """Wait until the list marks this, as somebody reads it before Enter."""
        self.page.wait_for_function(
            "words => document.querySelector('.found:not([hidden]) [aria-selected=true]')?.textContent.includes(words)",
            arg=words,
        )
        self.looks += 1

    def wait_for_focus(self, element_id: str) -> None:
        self.page.wait_for_function("id => document.activeElement.id === id", arg=element_id)

    @property
    def takes_s(self) -> float:
        """How long a practised person takes for it."""
        return self.pressed * KEY_S + self.looks * LOOK_S


@pytest.fixture
def price_list(owner: Any) -> list[str]:
    """Three things that the shop sells."""
    listed = (("Session on the rollers", 9500), ("Engine map, street", 48000), ("Engine map, track", 76000))
    made = []
    for name, cents in listed:
        answer = owner.post("/api/v1/price-items", json={"name": name, "kind_of_work": "x", "unit_price_cents": cents})
        assert answer.status_code == 201, answer.text
        made.append(answer.json()["id"])
    return made


@pytest.fixture
def page(page_as: Any, house: Any) -> Any:
    """The front desk before an empty ticket."""
    page = watch(page_as("front_desk", viewport={"width": 1280, "height": 900}))
    page.goto("/tickets/new")
    return page


def _opened(page: Any) -> str:
    page.wait_for_url(re.compile(r"/tickets/[0-9a-z]{13}$"))
    return str(page.url.rpartition("/")[2])


def test_a_returning_car_is_booked_with_work_and_hour_in_under_half_a_minute(
    price_list: list[str], page: Any, house: Any, desk: Any
) -> None:
    keys = Keys(page)
    keys.type("555-0142")
    keys.look_for("Ilse Marchetti-Vonn")
    keys.press("Enter")
    keys.wait_for_focus("work-find")
    keys.type("sess")
    keys.look_for("Session on the rollers")
    keys.press("Enter")
    keys.type("map")
    keys.press("ArrowDown")
    keys.look_for("Engine map, track")
    keys.press("Enter", "Tab", "Tab", "Tab")
    keys.wait_for_focus("asked")
    keys.type("Pulls to the left")
    keys.press("Tab")
    keys.type("thu 14")
    keys.look_for("Thu 12 Mar, 14:00 – Cell one")
    keys.press("Enter")
    page.wait_for_function("() => document.activeElement.textContent === 'Open the ticket'")
    keys.press("Enter")
    ticket = desk.get(f"/api/v1/tickets/{_opened(page)}").json()
    assert (ticket["vehicle_id"], ticket["cell_id"]) == (house.vehicle_id, house.cell_id)
    assert ticket["asked"] == "Pulls to the left"
    assert (ticket["booked_from"], ticket["booked_to"]) == ("2026-03-12T13:00:00+00:00", "2026-03-12T14:00:00+00:00")
    charged = desk.get(f"/api/v1/tickets/{ticket['id']}/charges").json()["charges"]
    assert {one["price_item_id"] for one in charged} == {price_list[0], price_list[2]}
    assert keys.pressed <= 60
    assert keys.takes_s < ALLOWED_S
    assert refused(page) == []


def test_quick_hands_need_not_wait_for_a_list(price_list: list[str], page: Any, house: Any, desk: Any) -> None:
    page.keyboard.type("qx418t")
    page.keyboard.press("Enter")  # before anything is found
    page.wait_for_function("() => document.activeElement.id === 'work-find'")
    page.keyboard.type("sess")
    page.keyboard.press("Enter")
    page.wait_for_selector("#work-chosen input:checked")
    page.get_by_role("button", name="Open the ticket").press("Enter")
    ticket = desk.get(f"/api/v1/tickets/{_opened(page)}").json()
    assert ticket["asked"] == "Session on the rollers"  # nothing said: it says what was chosen
    assert ticket["booked_from"] is None


def test_a_customer_and_a_car_nobody_knows_are_added_on_the_way(page: Any, house: Any, desk: Any) -> None:
    keys = Keys(page)
    keys.type("Noor Adeyemi")
    keys.look_for("Add “Noor Adeyemi” as a new customer")
    keys.press("Enter")
    keys.wait_for_focus("phone")
    keys.type("0660 12 34 56")
    keys.press("Enter")
    keys.wait_for_focus("make")
    keys.type("Tarnwick")
    keys.press("Tab")
    keys.type("Fen")
    keys.press("Enter")
    keys.wait_for_focus("asked")
    keys.type("Runs hot")
    for _ in range(8):
        if page.evaluate("document.activeElement.textContent.trim()") == "Open the ticket":
            break
        keys.press("Tab")
    keys.press("Enter")
    ticket = desk.get(f"/api/v1/tickets/{_opened(page)}").json()
    assert (ticket["customer_name"], ticket["vehicle_title"]) == ("Noor Adeyemi", "Tarnwick Fen")
    assert keys.takes_s < ALLOWED_S


def test_a_car_that_was_here_shows_its_pulls_and_limits_once_it_is_picked(
    page: Any, house: Any, tuner: Any, open_context: Any
) -> None:
    filed(tuner, house, Steady(gain_rad_s2=8.0).csv(), setup_id=house.setup_id, file_name="run.csv")
    limits = {"version": tuner.get(f"/api/v1/tickets/{house.ticket_id}").json()["version"], "note": "Before the track"}
    answer = tuner.put(f"/api/v1/tickets/{house.ticket_id}/limits", json=limits | {"oil_temperature_c_above": 130.0})
    assert answer.status_code == 200, answer.text
    Keys(page).type("ilse")
    page.wait_for_selector("#customer-find-found [aria-selected='true']")
    page.keyboard.press("Enter")
    page.wait_for_selector("#returning-car:not([hidden]) table")
    told = page.inner_text("#returning-car")
    assert "Ticket 1" in told
    assert "oil temperature above 130" in told
    assert "Before the track" in told
    assert "Baseline" in told
    pull_id = page.locator("#returning-car td a").first.get_attribute("href")[-13:]
    curve = tuner.get(f"/api/v1/pulls/{pull_id}/curve").json()
    peak_w = curve["headline"]["peak_power_w"]["value"]
    wanted = [f"{power_w / 1000:.1f}\u00a0kW" for power_w in (peak_w / curve["factor"], peak_w)]
    assert page.locator("#returning-car td.number").all_inner_texts() == wanted
    assert faults(page) == []


def test_the_lists_are_comboboxes_that_say_what_they_mark(page: Any, house: Any) -> None:
    field = page.locator("#customer-find")
    assert field.get_attribute("role") == "combobox"
    assert field.get_attribute("aria-expanded") == "false"
    page.keyboard.type("ilse")
    page.wait_for_selector("#customer-find-found [aria-selected='true']")
    assert field.get_attribute("aria-expanded") == "true"
    marked = page.locator(f"#{field.get_attribute('aria-activedescendant')}")
    assert "Ilse" in marked.inner_text()
    page.keyboard.press("ArrowDown")
    assert "Add" in page.locator("#customer-find-found [aria-selected='true']").inner_text()
    page.keyboard.press("Escape")
    assert field.get_attribute("aria-expanded") == "false"
    assert field.input_value() == "ilse"
