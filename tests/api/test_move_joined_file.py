"""A joined file's place on the pull's clock is set by hand, found again, left out and taken back; nothing is lost."""

from typing import Any

import pytest

from tests.api.beside_files import Answered, without_mixture
from tests.api.pull_files import filed
from tests.api.test_join_file import joined

BEFORE_S = Answered().before_s


@pytest.fixture
def kept(tuner: Any, house: Any) -> dict[str, Any]:
    return joined(tuner, filed(tuner, house, without_mixture())["id"])


def change(client: Any, kept: Any, **changes: Any) -> Any:
    return client.patch(f"/api/v1/joined-files/{kept['id']}", json={"version": kept["version"], **changes})


def test_an_offset_by_hand_stands_beside_what_matching_found(tuner: Any, kept: Any) -> None:
    moved = change(tuner, kept, offset_s=-2.9).json()
    assert (moved["offset_s"], moved["offset_by_hand"], moved["version"]) == (-2.9, True, kept["version"] + 1)
    assert moved["fit"]["offset_s"] == pytest.approx(-BEFORE_S, abs=0.03)


def test_null_finds_it_by_matching_again(tuner: Any, kept: Any) -> None:
    moved = change(tuner, kept, offset_s=-2.9).json()
    found = change(tuner, moved, offset_s=None).json()
    assert (found["offset_s"], found["offset_by_hand"]) == (kept["offset_s"], False)


def test_an_offset_far_from_the_pull_gives_nothing_and_says_so(tuner: Any, kept: Any) -> None:
    moved = change(tuner, kept, offset_s=5000.0).json()
    assert moved["channels"] == []
    assert "none of its samples lies within the pull" in moved["failure"]


def test_what_somebody_changed_meanwhile_is_not_overwritten(tuner: Any, kept: Any) -> None:
    assert change(tuner, kept, offset_s=-2.9).status_code == 200
    clash = change(tuner, kept, offset_s=-2.8)
    assert clash.status_code == 409
    assert clash.json()["problems"][0]["field"] == "version"


@pytest.mark.parametrize("offset", ["soon", 1e11, True])
def test_an_offset_that_is_none_is_refused(tuner: Any, kept: Any, offset: Any) -> None:
    answer = change(tuner, kept, offset_s=offset)
    assert answer.status_code == 422 or (offset is True and answer.status_code == 200)


def test_left_out_it_gives_nothing_and_says_why(tuner: Any, kept: Any) -> None:
    address = f"/api/v1/joined-files/{kept['id']}/left-out"
    out = tuner.post(address, json={"reason": "wrong car"})
    assert out.status_code == 201
    assert (out.json()["channels"], out.json()["failure"]) == ([], "Left out: wrong car")
    assert "lambda_measured" not in tuner.get(f"/api/v1/pulls/{kept['pull_id']}/curve").json()
    assert tuner.post(address, json={"reason": "again"}).status_code == 409
    back = tuner.delete(address).json()
    assert (back["channels"], back["left_out_reason"]) == (kept["channels"], None)


def test_every_step_is_in_the_audit_trail(tuner: Any, owner: Any, kept: Any) -> None:
    change(tuner, kept, offset_s=-2.9)
    tuner.post(f"/api/v1/joined-files/{kept['id']}/left-out", json={"reason": "wrong car"})
    trail = owner.get("/api/v1/audit").json()["items"]
    mine = [(one["action"], one["record"]) for one in trail if one["record_id"] == kept["id"]]
    assert mine == [("change", "joined_file"), ("change", "joined_file"), ("join", "joined_file")]


def test_a_published_results_page_says_what_changed(tuner: Any, house: Any, anonymous: Any, kept: Any) -> None:
    asked = {"pull_ids": [kept["pull_id"]], "standard": "iso_1585", "days": 30}
    link = tuner.post(f"/api/v1/tickets/{house.ticket_id}/results-links", json=asked).json()
    path = link["url"].rpartition("/r/")[2]
    before = anonymous.get(f"/r/{path}").text
    change(tuner, kept, offset_s=-2.9)
    after = anonymous.get(f"/r/{path}").text
    assert "changed a file joined to it" not in before
    assert "changed a file joined to it" in after
