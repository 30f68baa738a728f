"""The first owner opens the book by the link that the command line prints."""

from typing import Any

import pytest

from tests.browser.policy import faults, refused, watch
from tests.conftest import first_owner_token


@pytest.fixture
def level() -> str:
    """Nobody has been here yet."""
    return "bare"


def test_the_link_makes_the_shop_and_leads_to_an_empty_board_that_says_what_to_do(page_as: Any, settings: Any) -> None:
    page = watch(page_as())
    page.goto(f"/set-up/{first_owner_token(settings)}")
    assert faults(page) + refused(page) == []
    page.fill("#shop_name", "Larkspur Dyno Barn")
    page.select_option("#time_zone", "Europe/Madrid")
    page.fill("#full_name", "Ada Quist")
    page.fill("#sign_in_name", "ada")
    page.fill("#password", "seven geese over the barn")
    page.get_by_role("button", name="Open the book").click()
    page.wait_for_url("**/")
    words = page.inner_text("body")
    assert "Larkspur Dyno Barn" in words
    assert "There is no cell yet." in words
    assert faults(page) + refused(page) == []


def test_a_password_that_will_not_do_is_said_beside_it_and_nothing_typed_is_lost(page_as: Any, settings: Any) -> None:
    page = page_as()
    page.goto(f"/set-up/{first_owner_token(settings)}")
    for field, text in (("shop_name", "Barn"), ("full_name", "Ada"), ("sign_in_name", "ada"), ("password", "short")):
        page.fill(f"#{field}", text)
    page.get_by_role("button", name="Open the book").click()
    page.wait_for_selector("#password[aria-invalid='true']")
    page.complaints.clear()
    assert page.input_value("#shop_name") == "Barn"
    assert page.input_value("#password") == "short"
