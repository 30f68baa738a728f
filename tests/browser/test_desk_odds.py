"""What hands do in a hurry at the desk: two clicks for one, and sending while the network is away."""

import re
from typing import Any


def _filled(page: Any) -> None:
    page.goto("/tickets/new")
    page.keyboard.type("ilse", delay=20)
    page.wait_for_selector("#customer-find-found [aria-selected='true']")
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.activeElement.id === 'asked'")
    page.keyboard.type("Twice in a hurry")


def _tickets_like_it(person: Any) -> int:
    return sum(one["asked"] == "Twice in a hurry" for one in person.get("/api/v1/tickets").json()["items"])


def test_two_clicks_open_one_ticket(page_as: Any, house: Any, owner: Any) -> None:
    page = page_as("front_desk")
    _filled(page)
    page.get_by_role("button", name="Open the ticket").dblclick()
    page.wait_for_url(re.compile(r"/tickets/[0-9a-z]{13}$"))
    assert _tickets_like_it(owner) == 1


def test_with_the_network_away_it_says_so_and_nothing_typed_is_lost(page_as: Any, house: Any, owner: Any) -> None:
    page = page_as("front_desk")
    _filled(page)
    page.context.set_offline(True)
    page.get_by_role("button", name="Open the ticket").click()
    page.wait_for_selector("#ticket-new .form-problem p")
    assert page.input_value("#asked") == "Twice in a hurry"
    page.context.set_offline(False)
    page.get_by_role("button", name="Open the ticket").click()
    page.wait_for_url(re.compile(r"/tickets/[0-9a-z]{13}$"))
    assert _tickets_like_it(owner) == 1
    assert page.complaints == ["Failed to load resource: net::ERR_INTERNET_DISCONNECTED"]
    page.complaints.clear()
