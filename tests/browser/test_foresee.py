"""Staff see whose results a change would move before it is saved; the customer then reads was, is, when and why."""

from typing import Any

import pytest

from tests.browser.policy import faults, refused, watch
from tests.browser.results_states import Shop


@pytest.fixture
def shop(open_context: Any, address: str, house: Any) -> Shop:
    return Shop(open_context("owner").request, address, house)


def _correct_the_weather(page: Any) -> None:
    page.goto("/weather")
    page.get_by_role("button", name="Correct it").first.click()
    page.fill("#air_temperature_c", "31")
    page.fill("#pressure", "99.6")
    page.fill("#humidity", "40")
    page.fill("#source", "the second thermometer")
    page.get_by_role("button", name="Note the correction down").click()


def test_an_amendment_is_lived_through(page_as: Any, shop: Shop) -> None:
    _, _, link = shop.published("amended")
    customer = page_as()
    customer.goto(link["url"])
    before = customer.locator("table.headline tbody tr").first.locator("td").first.inner_text().split("\n")[0]
    staff = watch(page_as("owner", viewport={"width": 390, "height": 844}))
    _correct_the_weather(staff)
    dialog = staff.get_by_role("dialog")
    dialog.wait_for()
    assert "A customer’s results would change" in dialog.inner_text()
    was, would_be = dialog.locator("tbody tr").first.locator("td").all_inner_texts()
    assert before == was
    assert faults(staff) + refused(staff) == []
    dialog.get_by_role("button", name="Leave it as it is").click()
    customer.reload()
    assert "Amended" not in customer.locator("main").inner_text(), "nothing was saved"
    staff.get_by_role("button", name="Note the correction down").click()
    dialog.get_by_role("button", name="Save it all the same").click()
    staff.get_by_text("replaced by a later word").wait_for()
    customer.reload()
    said = customer.get_by_role("region", name="Amended since it was published")
    assert "the shop corrected the reading of the air" in said.inner_text()
    assert "the second thermometer" in said.inner_text()
    assert said.locator("tbody tr").first.locator("td").all_inner_texts() == [was, would_be]
    assert customer.locator("table.headline tbody tr").first.locator("td").first.inner_text().startswith(would_be)


def test_a_pull_set_aside_and_taken_back_asks_first_each_time(page_as: Any, shop: Shop) -> None:
    _, pulls, link = shop.published("amended")
    page = page_as("owner")
    page.goto(f"/pulls/{pulls[0]}")
    page.fill("#aside-reason", "the driver lifted early")
    page.get_by_role("button", name="Set this pull aside").click()
    page.get_by_role("button", name="Save it all the same").click()
    page.get_by_role("button", name="Take it back in").click()
    page.get_by_role("button", name="Save it all the same").click()
    page.get_by_role("button", name="Set this pull aside").wait_for()
    page.goto(link["url"])
    assert "Amended" not in page.locator("main").inner_text()


def test_nobody_is_asked_where_no_customer_has_results(page_as: Any, house: Any) -> None:
    page = page_as("owner")
    _correct_the_weather(page)
    page.get_by_text("replaced by a later word").wait_for()
