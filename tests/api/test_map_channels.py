"""Channel maps: made once with a preview, saved by name, used from then on."""

from typing import Any

import numpy as np
import pytest

from tests.api.pull_files import UNCLEAR, UNCLEAR_COLUMNS, Steady, filed, send_pull

MAP = {"name": "Bench logger, four letters", "columns": UNCLEAR_COLUMNS}


@pytest.fixture
def waiting(tuner: Any, house: Any) -> dict[str, Any]:
    kept = send_pull(tuner, house, UNCLEAR.csv()).json()
    assert kept["state"] == "unreadable"
    return kept


def _on_record(answered: dict[str, Any]) -> dict[str, Any]:
    """What was answered to a filing, without the receipt that is given with it."""
    return {name: value for name, value in answered.items() if name != "receipt"}


def _saved(client: Any, **changes: Any) -> dict[str, Any]:
    answer = client.post("/api/v1/channel-maps", json={**MAP, **changes})
    assert answer.status_code == 201, answer.text
    return answer.json()


def test_it_is_saved_as_sent(tuner: Any, house: Any) -> None:
    kept = _saved(tuner)
    assert (kept["name"], kept["columns"], kept["recognised"]) == (MAP["name"], UNCLEAR_COLUMNS, False)
    assert tuner.get(f"/api/v1/channel-maps/{kept['id']}").json() == kept
    assert tuner.get("/api/v1/channel-maps").json()["items"] == [kept]


def test_a_map_makes_a_waiting_pull_readable_and_leaves_its_bytes_alone(tuner: Any, house: Any, waiting: Any) -> None:
    chosen = {"channel_map_id": _saved(tuner)["id"]}
    answer = tuner.put(f"/api/v1/pulls/{waiting['id']}/channel-map", json=chosen)
    assert answer.status_code == 200, answer.text
    assert (answer.json()["state"], answer.json()["reason"]) == ("readable", None)
    assert answer.json()["sha256"] == waiting["sha256"]
    assert tuner.get(f"/api/v1/pulls/{waiting['id']}/raw").content == UNCLEAR.csv()
    mapped = tuner.get(f"/api/v1/pulls/{waiting['id']}/curve").json()
    plain = filed(tuner, house, Steady().csv())
    recognised = tuner.get(f"/api/v1/pulls/{plain['id']}/curve").json()
    assert mapped["power_w"] == recognised["power_w"]


def test_the_next_file_of_that_logger_is_read_by_the_saved_map(tuner: Any, house: Any) -> None:
    saved = _saved(tuner)
    kept = filed(tuner, house, UNCLEAR.csv())
    assert (kept["channel_map_id"], kept["channel_map_name"]) == (saved["id"], MAP["name"])


def _otherwise(place: int, **changes: str) -> list[dict[str, str]]:
    """The columns of the map, one of them said otherwise."""
    return [{**column, **changes} if at == place else column for at, column in enumerate(UNCLEAR_COLUMNS)]


@pytest.mark.parametrize(
    ("columns", "words"),
    [
        (_otherwise(1, unit="rev_min"), "'A' is "),
        (_otherwise(3, quantity="throttle_pct", unit="pct"), "'C' is "),
        (_otherwise(3, header="D"), "'D' is "),
    ],
)
def test_saved_maps_that_fit_and_disagree_leave_the_file_waiting_until_one_is_chosen(
    tuner: Any, house: Any, columns: list[dict[str, str]], words: str
) -> None:
    first = _saved(tuner)
    _saved(tuner, name="Another hand", columns=columns)
    kept = send_pull(tuner, house, UNCLEAR.csv()).json()
    assert kept["state"] == "unreadable"
    assert "'Another hand'" in kept["reason"]
    assert repr(MAP["name"]) in kept["reason"]
    assert words in kept["reason"]
    answer = tuner.put(f"/api/v1/pulls/{kept['id']}/channel-map", json={"channel_map_id": first["id"]})
    assert (answer.json()["state"], answer.json()["channel_map_name"]) == ("readable", MAP["name"])


def test_of_saved_maps_that_say_the_same_the_newest_is_used(tuner: Any, house: Any) -> None:
    _saved(tuner)
    later = _saved(tuner, name="The same, but shorter", columns=UNCLEAR_COLUMNS[:3])
    assert filed(tuner, house, UNCLEAR.csv())["channel_map_id"] == later["id"]


@pytest.mark.parametrize(("stated", "state"), [(b"rad/s", "readable"), (b"rev/min", "unreadable")])
def test_a_saved_map_is_not_used_on_a_file_that_states_other_units(
    tuner: Any, house: Any, stated: bytes, state: str
) -> None:
    _saved(tuner)
    heading, rows = UNCLEAR.csv().split(b"\n", 1)
    units = b",".join([b"s", stated, b"rev/min", b"-", b"-"])
    kept = send_pull(tuner, house, b"\n".join([heading, units, rows])).json()
    assert kept["state"] == state, kept["reason"]


def test_the_map_given_with_the_file_is_used(tuner: Any, house: Any) -> None:
    first = _saved(tuner)
    _saved(tuner, name="A later one", columns=UNCLEAR_COLUMNS[:3])
    assert filed(tuner, house, UNCLEAR.csv(), channel_map_id=first["id"])["channel_map_id"] == first["id"]


def test_a_given_map_that_does_not_fit_leaves_the_file_waiting(tuner: Any, house: Any) -> None:
    saved = _saved(tuner)
    kept = send_pull(tuner, house, Steady().csv(), channel_map_id=saved["id"]).json()
    assert kept["state"] == "unreadable"
    assert "does not fit" in kept["reason"]


def test_choosing_a_map_that_does_not_fit_is_refused_and_changes_nothing(tuner: Any, house: Any) -> None:
    pull = filed(tuner, house, Steady().csv())
    answer = tuner.put(f"/api/v1/pulls/{pull['id']}/channel-map", json={"channel_map_id": _saved(tuner)["id"]})
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["field"] == "channel_map_id"
    assert tuner.get(f"/api/v1/pulls/{pull['id']}").json() == _on_record(pull)


def test_the_columns_are_shown_with_guesses_and_open_questions(tuner: Any, house: Any, waiting: Any) -> None:
    told = tuner.get(f"/api/v1/pulls/{waiting['id']}/columns").json()
    assert [column["header"] for column in told["columns"]] == list(UNCLEAR.headings)
    assert told["row_count"] == 801
    assert told["columns"][1]["first_values"][:2] == [40.0, 40.08]
    assert (told["columns"][1]["smallest"], told["columns"][1]["largest"]) == (40.0, 104.0)
    assert told["questions"]
    assert told["reason"] == waiting["reason"]


def test_a_map_is_previewed_in_inside_units_before_it_is_chosen(tuner: Any, house: Any, waiting: Any) -> None:
    columns = [dict(column) for column in UNCLEAR_COLUMNS]
    columns[1]["unit"] = "rev_min"
    saved = _saved(tuner, columns=columns)
    told = tuner.get(f"/api/v1/pulls/{waiting['id']}/columns", params={"channel_map_id": saved["id"]}).json()
    assert told["misfit"] is None
    speed = next(choice for choice in told["choices"] if choice["quantity"] == "roller_speed_rad_s")
    assert speed["first_values"][0] == pytest.approx(40.0 * 2 * np.pi / 60)
    assert tuner.get(f"/api/v1/pulls/{waiting['id']}").json() == _on_record(waiting)


def test_a_recognised_file_keeps_what_was_recognised(tuner: Any, house: Any) -> None:
    first, second = filed(tuner, house, Steady().csv()), filed(tuner, house, Steady(seconds=7).csv())
    assert first["channel_map_id"] == second["channel_map_id"]
    assert tuner.get(f"/api/v1/channel-maps/{first['channel_map_id']}").json()["recognised"] is True
    assert tuner.get("/api/v1/channel-maps").json()["items"] == []
    assert len(tuner.get("/api/v1/channel-maps", params={"recognised": True}).json()["items"]) == 1


def test_a_name_is_given_once(tuner: Any, house: Any) -> None:
    _saved(tuner)
    assert tuner.post("/api/v1/channel-maps", json=MAP).status_code == 409


@pytest.mark.parametrize(
    "columns",
    [
        [],
        [{"header": "A", "quantity": "happiness", "unit": "s"}],
        [{"header": "Time [s]", "quantity": "time_s", "unit": "kpa"}],
        UNCLEAR_COLUMNS[:1],
        [*UNCLEAR_COLUMNS, {"header": "D", "quantity": "time_s", "unit": "s"}],
    ],
    ids=["nothing", "unknown quantity", "unit of another kind", "no roller speed", "a quantity twice"],
)
def test_a_map_wrong_in_itself_is_refused(tuner: Any, house: Any, columns: list[dict[str, str]]) -> None:
    answer = tuner.post("/api/v1/channel-maps", json={"name": "Wrong", "columns": columns})
    assert answer.status_code == 422, answer.text
    assert len(answer.json()["detail"]) > 10


def test_every_quantity_offers_its_units(tuner: Any, house: Any) -> None:
    items = {one["quantity"]: one for one in tuner.get("/api/v1/channel-maps/quantities").json()["items"]}
    assert {"s", "ms"} <= {unit["unit"] for unit in items["time_s"]["units"]}
    assert all(one["title"] for one in items.values())


def test_a_file_that_cannot_be_parsed_has_no_columns_and_no_map_helps(tuner: Any, house: Any) -> None:
    broken = send_pull(tuner, house, b'Time [s],Roller speed [rad/s]\n0.0,10.0\n0.1,"11.0\n0.2,12.0\n').json()
    assert tuner.get(f"/api/v1/pulls/{broken['id']}/columns").json()["columns"] == []
    answer = tuner.put(f"/api/v1/pulls/{broken['id']}/channel-map", json={"channel_map_id": _saved(tuner)["id"]})
    assert answer.status_code == 422
    assert broken["reason"] in answer.json()["detail"]


def _tried(client: Any, pull_id: str, columns: Any) -> Any:
    return client.post(f"/api/v1/pulls/{pull_id}/columns/preview", json={"columns": columns})


def test_a_map_is_tried_before_it_is_saved_and_shows_converted_values(tuner: Any, house: Any, waiting: Any) -> None:
    in_turns = [
        {**column, "unit": "rev_min"} if "roller" in column["quantity"] else column for column in UNCLEAR_COLUMNS
    ]
    answer = _tried(tuner, waiting["id"], in_turns)
    assert answer.status_code == 200, answer.text
    told = answer.json()
    assert told["misfit"] is None
    speed = next(choice for choice in told["choices"] if choice["quantity"] == "roller_speed_rad_s")
    assert speed["inside_unit"] == "rad/s"
    np.testing.assert_allclose(speed["first_values"][:2], np.array([40.0, 40.08]) * 2.0 * np.pi / 60.0, rtol=1e-12)
    np.testing.assert_allclose([speed["smallest"], speed["largest"]], np.array([40.0, 104.0]) * 2.0 * np.pi / 60.0)
    assert tuner.get("/api/v1/channel-maps").json()["items"] == []
    assert tuner.get(f"/api/v1/pulls/{waiting['id']}").json()["state"] == "unreadable"


@pytest.mark.parametrize(
    ("column", "words"),
    [
        ({"header": "nowhere", "quantity": "time_s", "unit": "s"}, "nowhere"),
        ({"header": UNCLEAR_COLUMNS[0]["header"], "quantity": "time_s", "unit": ""}, "does not come in ''"),
        ({"header": UNCLEAR_COLUMNS[0]["header"], "quantity": "luck", "unit": "s"}, "no quantity"),
    ],
)
def test_a_map_half_made_is_answered_half_and_says_what_it_lacks(
    tuner: Any, house: Any, waiting: Any, column: Any, words: str
) -> None:
    told = _tried(tuner, waiting["id"], [column]).json()
    assert told["choices"][0]["first_values"] == []
    assert (told["choices"][0]["inside_unit"], told["choices"][0]["smallest"]) == ("", None)
    assert words in told["misfit"]


def test_a_file_without_columns_has_nothing_to_try_a_map_on(tuner: Any, house: Any) -> None:
    kept = send_pull(tuner, house, b"only words\nand no table\n").json()
    assert _tried(tuner, kept["id"], UNCLEAR_COLUMNS).status_code == 409
