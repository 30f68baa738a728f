"""The page of a pull shows what was joined to it: whose channels, where on its clock, and how to change that."""

from typing import Any

import pytest

from tests.api.beside_files import Answered, without_mixture
from tests.api.pull_files import UNCLEAR, filed
from tests.api.test_join_file import joined


@pytest.fixture
def pull(tuner: Any, house: Any) -> dict[str, Any]:
    return filed(tuner, house, without_mixture())


def page(client: Any, pull: Any) -> str:
    answer = client.get(f"/pulls/{pull['id']}")
    assert answer.status_code == 200, answer.text[:400]
    return str(answer.text)


def test_without_any_it_says_what_one_would_bring(tuner: Any, pull: Any) -> None:
    text = page(tuner, pull)
    assert "A second logger’s file" in text
    assert "Power is never calculated from it" in text


def test_it_shows_both_engine_speeds_and_the_fit(tuner: Any, pull: Any) -> None:
    kept = joined(tuner, pull["id"], name="drive 4.log")
    text = page(tuner, pull)
    section = text[text.index('id="joined"') :]
    assert "drive 4.log" in section
    assert kept["sha256"] in section
    assert "λ measured" in section
    assert "added to its time, found by engine speed" in section
    assert f"−{Answered().before_s:.3f} s" in section
    assert section.count('class="line mean setup-b"') == 2  # wide and narrow
    assert "Time of the pull, s" in section
    assert "text CAN log with diagnostic answers" in section
    assert "The numbers behind the chart" in section


def test_an_offset_by_hand_stands_beside_what_matching_finds(tuner: Any, pull: Any) -> None:
    kept = joined(tuner, pull["id"])
    moved = {"version": kept["version"], "offset_s": -2.5}
    assert tuner.patch(f"/api/v1/joined-files/{kept['id']}", json=moved).status_code == 200
    text = page(tuner, pull)
    assert "−2.500 s added to its time, set by hand" in text
    assert "Matching engine speeds finds −3.000 s." in text


def test_left_out_it_says_why_and_can_be_taken_back(tuner: Any, pull: Any) -> None:
    kept = joined(tuner, pull["id"])
    tuner.post(f"/api/v1/joined-files/{kept['id']}/left-out", json={"reason": "wrong <car>"})
    text = page(tuner, pull)
    assert "Left out: wrong &lt;car&gt;" in text
    assert f"DELETE /joined-files/{kept['id']}/left-out" in text


def test_one_that_waits_for_a_map_leads_to_where_it_is_made(tuner: Any, pull: Any) -> None:
    kept = joined(tuner, pull["id"], UNCLEAR.csv(), name="unclear.csv")
    address = f"/pulls/{pull['id']}/joined-files/{kept['id']}/channel-map"
    text = page(tuner, pull)
    assert "needs a channel map" in text
    assert f'<a href="{address}">Say which column is what</a>' in text
    mapping = tuner.get(address)
    assert mapping.status_code == 200
    assert f'data-path="/joined-files/{kept["id"]}"' in mapping.text
    assert tuner.get(f"/pulls/{pull['id']}/joined-files/0123456789abc/channel-map").status_code == 404


def test_the_desk_sees_it_and_changes_nothing(tuner: Any, desk: Any, pull: Any) -> None:
    kept = joined(tuner, pull["id"])
    text = page(desk, pull)
    assert kept["file_name"] in text
    assert "data-drop" not in text
    assert "/joined-files/" not in text.replace(f"/api/v1/joined-files/{kept['id']}/raw", "")
