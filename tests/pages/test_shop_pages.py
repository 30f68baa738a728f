"""The owner's pages about people and the shop: theirs alone, and what they offer is what the records take."""

import re
from typing import Any

import pytest

from pullbook.pages.words import OWNER_WORDS
from tests.pages.conftest import Filed


def test_people_and_the_shop_are_the_owners_alone(tuner: Any, desk: Any, anonymous: Any, house: Any) -> None:
    for path in ("/staff", "/shop"):
        assert tuner.get(path).status_code == 403
        assert desk.get(path).status_code == 403
        assert anonymous.get(path).status_code == 303
        assert f'href="{path}"' not in tuner.get("/").text


@pytest.mark.parametrize("path", list(OWNER_WORDS))
def test_every_page_of_the_owners_menu_says_in_it_where_one_is(owner: Any, house: Any, path: str) -> None:
    page = owner.get(f"/{path}").text
    assert f'<a href="/{path}" aria-current="page">' in page
    assert page.count('aria-current="page"') == 1


def test_everybody_who_works_here_is_on_the_staff_page_with_what_they_may_do(owner: Any, house: Any) -> None:
    asked = {"sign_in_name": "mina", "full_name": "Mina Achterberg", "role": "tuner", "password": "gifo-nabu-zove-vove"}
    assert owner.post("/api/v1/staff", json=asked).status_code == 201
    page = owner.get("/staff").text
    for one in owner.get("/api/v1/staff").json()["items"]:
        assert one["full_name"] in page
        assert one["sign_in_name"] in page
    assert re.search(r'<strong>Mina Achterberg</strong> – <span class="mono">mina</span>, tuner', page)
    assert "(you)" in page
    assert asked["password"] not in page


def _choices(page: str, name: str) -> list[str]:
    select = page.split(f'name="{name}">')[1].split("</select>")[0]
    return re.findall(r'value="([^"]+)"', select)


@pytest.mark.parametrize("name", ["default_standard", "power_unit", "torque_unit", "pressure_unit"])
def test_every_choice_the_shop_page_offers_is_taken_and_shown_as_chosen(owner: Any, house: Any, name: str) -> None:
    choices = _choices(owner.get("/shop").text, name)
    assert len(choices) >= 3
    for value in choices:
        kept = owner.get("/api/v1/shop").json()
        assert owner.put("/api/v1/shop", json={**kept, name: value}).status_code == 200, value
        assert f'<option value="{value}" selected>' in owner.get("/shop").text


def test_a_unit_chosen_is_the_unit_customers_read(owner: Any, anonymous: Any, filed_pulls: Filed) -> None:
    kept = owner.get("/api/v1/shop").json()
    changed = {**kept, "power_unit": "hp", "torque_unit": "lbf·ft", "address": "Barn 4\nLarkspur Lane"}
    assert owner.put("/api/v1/shop", json=changed).status_code == 200
    wanted = {"pull_ids": list(filed_pulls.pull_ids), "standard": "sae_j1349"}
    link = owner.post(f"/api/v1/tickets/{filed_pulls.ticket_id}/results-links", json=wanted).json()
    page = anonymous.get("/r/" + link["url"].rsplit("/r/", 1)[1]).text
    lead = page.split('<p class="lead">')[1].split("</p>")[0]
    assert "\u00a0hp" in lead
    assert "\u00a0lbf·ft" in lead
    assert "kW" not in lead
    assert "Barn 4, Larkspur Lane" in page
    before = anonymous.get(filed_pulls.link_path).text  # what was published keeps the units it was told in
    assert "\u00a0kW" in before.split('<p class="lead">')[1].split("</p>")[0]


def test_every_time_zone_offered_is_one_that_the_service_knows(owner: Any, house: Any) -> None:
    page = owner.get("/shop").text
    zones = _choices(page, "time_zone")
    assert "UTC" in zones
    assert len(zones) > 300
    assert len(zones) == len(set(zones))
    kept = owner.get("/api/v1/shop").json()
    assert owner.put("/api/v1/shop", json={**kept, "time_zone": zones[-1]}).status_code == 200
