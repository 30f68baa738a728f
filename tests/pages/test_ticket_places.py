"""A ticket's page is long: its places are one tap away, and every one of them is there."""

import re
from typing import Any

import pytest

from tests.furnishing import made


@pytest.mark.parametrize("who", ["owner", "tuner", "desk"])
def test_every_place_named_at_the_top_is_on_the_page(request: pytest.FixtureRequest, who: str, house: Any) -> None:
    page = request.getfixturevalue(who).get(f"/tickets/{house.ticket_id}").text
    named = page.split('aria-label="On this ticket"')[1].split("</nav>")[0]
    places = re.findall(r'href="#([^"]+)"', named)
    assert len(places) > 5
    assert [place for place in places if page.count(f' id="{place}"') != 1] == []


def test_a_place_says_how_much_is_in_it(tuner: Any, house: Any) -> None:
    before = tuner.get(f"/tickets/{house.ticket_id}").text
    count = re.search(r'href="#setups">Setups and files <span class="soft">(\d+)<', before)
    made(tuner.post(f"/api/v1/tickets/{house.ticket_id}/setups", json={"name": "One more"}))
    after = tuner.get(f"/tickets/{house.ticket_id}").text
    assert f'>Setups and files <span class="soft">{int(count[1] if count else 0) + 1}<' in after
