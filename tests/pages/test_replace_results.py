"""Results said anew: the old page says that it was replaced and by nothing more, the new one what it replaces."""

import html
import re
from typing import Any

from tests.pages.conftest import Filed


def _newer(desk: Any, filed_pulls: Filed, **more: Any) -> Any:
    wanted = {"pull_ids": list(filed_pulls.pull_ids), "standard": "sae_j1349", "replaces_id": filed_pulls.link_id}
    return desk.post(f"/api/v1/tickets/{filed_pulls.ticket_id}/results-links", json={**wanted, **more})


def _path(answer: Any) -> str:
    assert answer.status_code == 201, answer.text
    return answer.json()["url"].removeprefix("http://pulls.example.test")


def test_each_page_tells_of_the_other_and_the_old_one_gives_no_way_to_the_new(
    anonymous: Any, tuner: Any, desk: Any, now: Any, filed_pulls: Filed
) -> None:
    tuner.post(f"/api/v1/pulls/{filed_pulls.pull_ids[0]}/set-aside", json={"reason": "the driver lifted early"})
    now.advance(minutes=30)
    made = _newer(desk, filed_pulls)
    new_path = _path(made)
    old, new = (html.unescape(anonymous.get(path).text) for path in (filed_pulls.link_path, new_path))
    assert "Replaced by a newer result" in old
    assert "On 10 March 2026 the shop published newer results" in old
    assert new_path.rsplit("/", 1)[1] not in old
    assert made.json()["id"] not in old
    assert "These replace earlier results" in new
    assert "published on 10 March 2026 under SAE J1349 (2004)" in new
    section = re.search(r'<section class="note keep" aria-labelledby="earlier">.*?</section>', new, re.DOTALL).group(0)
    (row,) = re.findall(r"<tr><th scope=\"row\">(A, [^<]*: peak power)</th>(.*?)</tr>", section)
    was, is_now = re.findall(r"[\d.]+\u00a0kW", row[1])
    headline = [re.search(r'class="headline">.*?</table>', page, re.DOTALL).group(0) for page in (old, new)]
    assert is_now in headline[1]
    assert was != is_now
    assert was in re.search(r'class="moved">.*?</table>', old, re.DOTALL).group(0), "what the old one published"
    assert "Amended since" not in new


def test_a_replacement_that_was_taken_back_replaces_nothing(anonymous: Any, desk: Any, filed_pulls: Filed) -> None:
    made = _newer(desk, filed_pulls)
    assert "Replaced by a newer result" in anonymous.get(filed_pulls.link_path).text
    desk.delete(f"/api/v1/results-links/{made.json()['id']}")
    assert "Replaced by a newer result" not in anonymous.get(filed_pulls.link_path).text


def test_results_are_replaced_once_and_only_by_results_of_the_same_job(
    desk: Any, house: Any, filed_pulls: Filed
) -> None:
    _path(_newer(desk, filed_pulls))
    again = _newer(desk, filed_pulls)
    assert (again.status_code, again.json()["problems"][0]["field"]) == (409, "replaces_id")
    unknown = _newer(desk, filed_pulls, replaces_id="0123456789abc")
    assert (unknown.status_code, unknown.json()["problems"][0]["field"]) == (422, "replaces_id")


def test_the_same_figures_said_anew_are_told_to_be_the_same(anonymous: Any, desk: Any, filed_pulls: Filed) -> None:
    page = anonymous.get(_path(_newer(desk, filed_pulls, note="with a word more"))).text
    assert "The headline figures are the same." in page
    links = desk.get(f"/api/v1/tickets/{filed_pulls.ticket_id}/results-links").json()["items"]
    assert [one["replaces_id"] for one in links] == [filed_pulls.link_id, None]


def test_the_publishing_page_offers_what_can_be_replaced_and_the_preview_tells_of_it(
    desk: Any, filed_pulls: Filed
) -> None:
    offered = desk.get(f"/tickets/{filed_pulls.ticket_id}/publish").text
    assert f'<option value="{filed_pulls.link_id}">the results of ' in offered
    asked = f"standard=sae_j1349&{filed_pulls.query}&replaces_id={filed_pulls.link_id}"
    assert "These replace earlier results" in desk.get(f"/tickets/{filed_pulls.ticket_id}/preview?{asked}").text
    _path(_newer(desk, filed_pulls))
    offered = desk.get(f"/tickets/{filed_pulls.ticket_id}/publish").text
    assert f'value="{filed_pulls.link_id}"' not in offered, "it was replaced already"
