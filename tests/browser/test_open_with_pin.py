"""A customer's link that wants a PIN: with script and without; and a look that counts once somebody sees the page."""

from typing import Any

import pytest

from tests.api.pull_files import Steady
from tests.browser.policy import refused, watch

PHONE = {"width": 390, "height": 844}
PIN = "Kessel 47 rot"


@pytest.fixture
def links(open_context: Any, house: Any, address: str) -> dict[str, Any]:
    """Two links to one pull by whether they want a PIN, and the desk's API."""
    api = open_context("owner").request
    asked = {
        "setup_id": house.setup_id, "cell_id": house.cell_id, "kind": "sweep",
        "taken_at": "2026-03-10T08:45:00+00:00", "file_name": "run.csv",
    }  # fmt: skip
    here = {"Origin": address}
    path = f"/api/v1/tickets/{house.ticket_id}"
    data = Steady(gain_rad_s2=8.0).csv()
    pull = api.post(f"{path}/pulls", params=asked, data=data, headers={**here, "Content-Type": "text/csv"}).json()["id"]
    made: dict[str, Any] = {"api": api}
    for name, pin in (("locked", PIN), ("open", "")):
        body = {"pull_ids": [pull], "standard": "iso_1585", "pin": pin}
        made[name] = api.post(f"{path}/results-links", data=body, headers=here).json()
    return made


@pytest.mark.parametrize("script", [True, False])
def test_the_pin_opens_the_page_with_script_and_without(open_context: Any, links: Any, script: bool) -> None:
    page = watch(open_context(viewport=PHONE, java_script_enabled=script).new_page())
    page.goto(links["locked"]["url"])
    page.fill("#pin", "something else")
    page.get_by_role("button", name="Show the results").click()
    assert "That is not the PIN" in page.inner_text("[role=alert]")
    page.fill("#pin", PIN)
    page.get_by_role("button", name="Show the results").click()
    assert page.locator("svg path.line.mean").count() >= 1
    assert page.url == links["locked"]["url"]
    if script:
        assert refused(page) == []


def test_a_page_that_is_seen_counts_once_and_one_that_is_only_fetched_does_not(open_context: Any, links: Any) -> None:
    context = open_context(viewport=PHONE)
    context.request.get(links["open"]["url"])
    open_context(viewport=PHONE, java_script_enabled=False).new_page().goto(links["open"]["url"])
    # the browser of the tests says that it is a program, as it is; a telephone does not
    seen = open_context(viewport=PHONE, user_agent="Mozilla/5.0 (Telephone)").new_page()
    with seen.expect_response("**/opened") as told:
        seen.goto(links["open"]["url"])
    assert told.value.status == 204
    days = links["api"].get(f"/api/v1/results-links/{links['open']['id']}/looks").json()["items"]
    assert [one["times"] for one in days] == [1]
