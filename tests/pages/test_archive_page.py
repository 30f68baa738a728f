"""The archive's page: readable without script, its question in its address, its figures marked as not results."""

import re

import pytest

from tests.api.pull_files import Steady, filed


@pytest.fixture
def pull_id(tuner, house):
    kept = filed(tuner, house, Steady().csv())["id"]
    while tuner.post("/api/v1/archive/figures").json()["due"]:
        pass
    return kept


def _page(client, query=""):
    answer = client.get(f"/archive{query}")
    assert answer.status_code == 200
    return answer.text


def test_an_empty_archive_says_how_pulls_come_into_it(owner):
    assert "No pull is filed yet" in _page(owner)


def test_a_question_in_the_address_is_answered_without_script(tuner, pull_id):
    for query in ("?find=marchetti+qx+418", "?make=Corvane&year=2019&kind=sweep", "?power_from=1&power_to=900", ""):
        assert f"/pulls/{pull_id}" in _page(tuner, query), query
    assert 'value="marchetti"' in _page(tuner, "?find=marchetti")
    assert "No pull fits" in _page(tuner, "?find=nobody+of+that+name")


def test_figures_in_the_list_say_about_and_are_whole(tuner, pull_id):
    page = _page(tuner)
    assert re.search(r"about \d+\u00a0kW, \d+\u00a0N·m", page)
    assert not re.search(r"\d\.\d\u00a0kW", page)


def test_a_range_in_the_shops_own_unit_finds_what_it_means(owner, tuner, pull_id):
    told = tuner.get("/api/v1/archive").json()["items"][0]["about_power_w"] / 745.7
    shop = owner.get("/api/v1/shop").json()
    fields = {name: value for name, value in shop.items() if name != "version"}
    answer = owner.put("/api/v1/shop", json={**fields, "power_unit": "hp", "version": shop["version"]})
    assert answer.status_code == 200, answer.text
    assert f"/pulls/{pull_id}" in _page(tuner, f"?power_from={told - 2:.0f}&power_to={told + 2:.0f}")
    assert "No pull fits" in _page(tuner, f"?power_from={told + 5:.0f}")


@pytest.mark.parametrize("query", ["?year=19", "?power_from=much", "?taken_from=yesterday", "?cursor=0123456789abc"])
def test_what_cannot_be_meant_is_said_on_the_page(tuner, pull_id, query):
    assert 'class="bad" role="alert"' in _page(tuner, query)


def test_cars_like_it_are_one_link_from_the_pull_and_say_what_like_meant(tuner, house, pull_id):
    other = filed(tuner, house, Steady(seconds=7).csv(), setup_id=house.second_setup_id)["id"]
    tuner.post("/api/v1/archive/figures")
    assert f"/pulls/{pull_id}/like" in tuner.get(f"/pulls/{pull_id}").text
    page = tuner.get(f"/pulls/{pull_id}/like").text
    assert "the same make and model" in page
    assert "density within 3 %" in page
    assert f"/compare?pull_id={pull_id}&amp;pull_id={other}" in page
