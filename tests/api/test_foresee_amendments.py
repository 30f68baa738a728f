"""Before a change is saved, staff are told which customers' links would say something else; nothing is kept."""

import argparse
from dataclasses import dataclass
from typing import Any

import pytest

from pullbook.results_commands import run_amended
from tests.api.pull_files import Steady, filed
from tests.furnishing import CALIBRATION, WEATHER

HEAVIER = {**CALIBRATION, "valid_from": "2026-02-01T08:00:00+01:00", "inertia_kg_m2": 4.6, "reason": "measured again"}


@dataclass(frozen=True)
class Published:
    """Two pulls of each setup, and the link to them."""

    pull_ids: tuple[str, ...]
    link_id: str


@pytest.fixture
def published(tuner: Any, desk: Any, house: Any) -> Published:
    pulls = []
    for setup_id, gain in ((house.setup_id, 8.0), (house.setup_id, 8.1), (house.second_setup_id, 8.8)):
        pulls.append(filed(tuner, house, Steady(gain_rad_s2=gain).csv(), setup_id=setup_id)["id"])
    made = desk.post(
        f"/api/v1/tickets/{house.ticket_id}/results-links", json={"pull_ids": pulls, "standard": "sae_j1349"}
    )
    assert made.status_code == 201, made.text
    return Published(tuple(pulls), made.json()["id"])


def _correction(house: Any) -> dict[str, Any]:
    return {**WEATHER, "cell_id": house.cell_id, "air_temperature_c": 31.0, "supersedes_id": house.weather_id}


def _foreseen(client: Any, path: str, body: Any = None) -> Any:
    answer = client.post(f"/api/v1{path}/foreseen", json=body)
    assert answer.status_code == 200, answer.text
    return answer.json()


def _of_setups(link: dict[str, Any]) -> list[tuple[Any, ...]]:
    return [(one["what"], one["key"], one["was_value"], one["now_value"]) for one in link["changes"] if one["of_setup"]]


def test_a_weather_correction_names_the_links_it_would_move_and_how_far(
    desk: Any, house: Any, published: Published
) -> None:
    told = _foreseen(desk, "/weather", _correction(house))
    (link,) = told["links"]
    assert (link["link_id"], told["further"]) == (published.link_id, 0)
    moved = _of_setups(link)
    assert {key for _, key, _, _ in moved} == {"peak_power_w", "peak_torque_nm"}
    assert all(now > was for _, _, was, now in moved), "warmer air takes a larger factor"
    assert {one["why"] for one in link["changes"]} == {"the weather reading was corrected, or a closer one was entered"}


def test_what_was_foreseen_is_what_comes_of_it(desk: Any, house: Any, published: Published) -> None:
    (foreseen,) = _foreseen(desk, "/weather", _correction(house))["links"]
    assert desk.get("/api/v1/amendments").json() == {"links": []}
    assert desk.post("/api/v1/weather", json=_correction(house)).status_code == 201
    (amended,) = desk.get("/api/v1/amendments").json()["links"]
    assert _of_setups(amended) == _of_setups(foreseen)


def test_nothing_is_kept_of_a_change_that_was_only_asked_about(owner: Any, house: Any, published: Published) -> None:
    def kept() -> list[Any]:
        cell = f"/api/v1/cells/{house.cell_id}/calibrations"
        paths = ("/api/v1/audit", "/api/v1/weather", cell, f"/api/v1/pulls/{published.pull_ids[0]}")
        return [owner.get(path).json() for path in paths]

    before = kept()
    _foreseen(owner, "/weather", _correction(house))
    _foreseen(owner, f"/cells/{house.cell_id}/calibrations", HEAVIER)
    _foreseen(owner, f"/pulls/{published.pull_ids[0]}/set-aside", {"reason": "the driver lifted"})
    assert kept() == before


def test_a_calibration_valid_from_the_past_moves_links_and_one_from_today_none(
    owner: Any, house: Any, published: Published, now: Any
) -> None:
    path = f"/cells/{house.cell_id}/calibrations"
    (link,) = _foreseen(owner, path, HEAVIER)["links"]
    assert {one["why"] for one in link["changes"]} == {"another calibration of the cell is in force for that time"}
    assert _foreseen(owner, path, {**HEAVIER, "valid_from": now.value.isoformat()})["links"] == []


def test_setting_aside_and_letting_count_again_say_which_setup_and_verdict_would_move(
    tuner: Any, published: Published
) -> None:
    path = f"/pulls/{published.pull_ids[0]}"
    (link,) = _foreseen(tuner, f"{path}/set-aside", {"reason": "the driver lifted"})["links"]
    told = {(one["what"], one["key"]) for one in link["changes"]}
    assert ("Baseline: peak power", "peak_power_w") in told
    assert [one["now"] for one in link["changes"] if one["key"] == "set_aside"] == ["is set aside"]
    assert _foreseen(tuner, f"{path}/counting-again")["links"] == [], "it counts already"
    tuner.post(f"/api/v1{path}/set-aside", json={"reason": "the driver lifted"})
    (link,) = _foreseen(tuner, f"{path}/counting-again")["links"]
    assert [one["now"] for one in link["changes"] if one["key"] == "set_aside"] == ["counts"]


def test_another_channel_map_is_foreseen_too(tuner: Any, published: Published) -> None:
    columns = [dict(one) for one in tuner.get(f"/api/v1/pulls/{published.pull_ids[0]}/columns").json()["choices"]]
    read = [{name: one[name] for name in ("header", "quantity", "unit")} for one in columns]
    named = tuner.post("/api/v1/channel-maps", json={"name": "By hand", "columns": read})
    assert named.status_code == 201, named.text
    told = _foreseen(tuner, f"/pulls/{published.pull_ids[0]}/channel-map", {"channel_map_id": named.json()["id"]})
    whys = {one["why"] for link in told["links"] for one in link["changes"] if not one["of_setup"]}
    assert whys == {"the file's columns are read by another channel map"}


def test_a_link_that_has_ended_is_nobodys_concern(desk: Any, house: Any, published: Published) -> None:
    desk.delete(f"/api/v1/results-links/{published.link_id}")
    assert _foreseen(desk, "/weather", _correction(house)) == {"links": [], "further": 0}


def test_a_change_that_could_not_be_saved_is_refused_in_the_same_words(
    desk: Any, tuner: Any, house: Any, published: Published
) -> None:
    wrong = {**_correction(house), "supersedes_id": "0123456789abc"}
    saved, asked = (desk.post(path, json=wrong) for path in ("/api/v1/weather", "/api/v1/weather/foreseen"))
    assert (asked.status_code, asked.json()["problems"]) == (saved.status_code, saved.json()["problems"])
    assert tuner.post("/api/v1/pulls/0123456789abc/set-aside/foreseen", json={"reason": "x"}).status_code == 404


def test_a_command_lists_the_links_that_no_longer_say_what_was_published(
    desk: Any, house: Any, published: Published, settings: Any, now: Any, capsys: Any
) -> None:
    run_amended(settings, argparse.Namespace(at=now.value))
    assert capsys.readouterr().out == "no live link is amended\n"
    desk.post("/api/v1/weather", json=_correction(house))
    run_amended(settings, argparse.Namespace(at=now.value))
    said = capsys.readouterr().out
    assert f"link {published.link_id}: the weather reading was corrected" in said
    assert "    Baseline: peak power: was " in said
    assert said.endswith("1 live link with an amendment\n")
