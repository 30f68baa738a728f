"""An owner adds a colleague in the browser, and the colleague signs in with what is passed on."""

from typing import Any

from tests.browser.policy import faults, refused, watch


def test_a_colleague_added_with_a_made_up_password_signs_in_and_is_in_the_list(page_as: Any, house: Any) -> None:
    page = watch(page_as("owner"))
    page.goto("/staff")
    page.fill("#full_name", "Wilhelmina Achterberg")
    page.fill("#sign_in_name", "mina")
    page.select_option("#role", "front_desk")
    page.get_by_role("button", name="Make up a password").click()
    password = page.input_value("#password")
    assert len(password) == 24
    page.get_by_role("button", name="Add the colleague").click()
    passed_on = page.locator("#to-pass-on")
    assert f"Password: {password}" in passed_on.inner_text()
    page.locator("#people", has_text="Wilhelmina Achterberg").wait_for()
    assert page.input_value("#password") == ""
    assert faults(page) + refused(page) == []
    colleague = page_as()
    colleague.goto("/sign-in")
    colleague.fill("#sign_in_name", "mina")
    colleague.fill("#password", password)
    colleague.get_by_role("button", name="Sign in").click()
    colleague.wait_for_url("**/")
    colleague.locator(".who summary").click()
    assert "Wilhelmina Achterberg" in colleague.inner_text(".who")
    assert "front desk" in colleague.inner_text(".who")


def test_the_shop_saved_says_so_and_shows_it(page_as: Any, house: Any) -> None:
    page = page_as("owner")
    page.goto("/shop")
    page.fill("#name", "Larkspur Rolling Road")
    page.get_by_role("button", name="Save").click()
    page.get_by_text("Saved.").wait_for()
    assert "Larkspur Rolling Road" in page.inner_text("header")
    page.reload()
    assert page.get_by_text("Saved.").count() == 0
