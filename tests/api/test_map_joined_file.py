"""A joined file whose headings say nothing is given a map, one without roller speed; its own file is not touched."""

from typing import Any

import pytest

from tests.api.beside_files import engine_speed_rpm, without_mixture
from tests.api.pull_files import filed
from tests.api.test_join_file import joined

COLUMNS = [
    {"header": "K0", "quantity": "time_s", "unit": "ms"},
    {"header": "K1", "quantity": "engine_speed_rpm", "unit": "rev_min"},
    {"header": "K2", "quantity": "lambda_measured", "unit": "lambda"},
]


def box() -> bytes:
    """A box with numbered columns, its clock two seconds ahead."""
    rows = [f"{(20 * n) + 2000},{engine_speed_rpm(n / 50 - 2.0):.0f},0.88" for n in range(600)]
    return ("K0,K1,K2\n" + "\n".join(rows) + "\n").encode()


@pytest.fixture
def kept(tuner: Any, house: Any) -> dict[str, Any]:
    made = joined(tuner, filed(tuner, house, without_mixture())["id"], box(), name="box.csv")
    assert made["state"] == "unreadable"
    return made


def made_map(client: Any, columns: list[dict[str, str]], name: str = "The box", **more: Any) -> Any:
    return client.post("/api/v1/channel-maps", json={"name": name, "columns": columns, **more})


def test_its_columns_are_shown_and_no_roller_is_asked_for(tuner: Any, kept: Any) -> None:
    answer = tuner.get(f"/api/v1/joined-files/{kept['id']}/columns").json()
    assert [column["header"] for column in answer["columns"]] == ["K0", "K1", "K2"]
    assert answer["questions"]
    assert not any("roller" in question for question in answer["questions"])


def test_a_map_is_tried_without_being_kept(tuner: Any, kept: Any) -> None:
    address = f"/api/v1/joined-files/{kept['id']}/columns/preview"
    whole = tuner.post(address, json={"columns": COLUMNS}).json()
    assert whole["misfit"] is None
    assert whole["choices"][0]["inside_unit"] == "s"
    assert "time" in tuner.post(address, json={"columns": COLUMNS[1:]}).json()["misfit"]


def test_a_map_for_joined_files_needs_no_roller_and_makes_it_readable(tuner: Any, kept: Any) -> None:
    assert made_map(tuner, COLUMNS).status_code == 422  # for a pull's own file it would be no use
    made = made_map(tuner, COLUMNS, beside_a_pull=True)
    assert made.status_code == 201, made.text
    address = f"/api/v1/joined-files/{kept['id']}/channel-map"
    read = tuner.put(address, json={"channel_map_id": made.json()["id"]}).json()
    assert (read["state"], read["reason"], read["version"]) == ("readable", None, kept["version"] + 1)
    assert read["channels"] == ["lambda_measured"]
    assert read["offset_s"] == pytest.approx(-4.0, abs=0.03)
    assert tuner.get(f"/api/v1/joined-files/{kept['id']}/raw").content == box()


def test_the_next_file_of_the_same_box_takes_the_map_by_itself(tuner: Any, house: Any, kept: Any) -> None:
    made = made_map(tuner, COLUMNS, beside_a_pull=True).json()
    other = joined(tuner, kept["pull_id"], box().replace(b"0.88", b"0.91"), name="box 2.csv")
    assert (other["state"], other["channel_map_id"]) == ("readable", made["id"])


def test_such_a_map_does_not_read_a_pulls_own_file(tuner: Any, house: Any) -> None:
    made = made_map(tuner, COLUMNS, beside_a_pull=True).json()
    address = f"/api/v1/tickets/{house.ticket_id}/pulls"
    asked = {"setup_id": house.setup_id, "cell_id": house.cell_id, "taken_at": "2026-03-10T07:00:00+00:00"}
    answer = tuner.post(address, params={**asked, "file_name": "box.csv"}, content=box())
    assert answer.json()["state"] == "unreadable"
    refused = tuner.put(f"/api/v1/pulls/{answer.json()['id']}/channel-map", json={"channel_map_id": made["id"]})
    assert refused.status_code == 422


def test_a_map_that_does_not_fit_is_refused(tuner: Any, kept: Any) -> None:
    made = made_map(tuner, [{**COLUMNS[0], "header": "T"}, COLUMNS[1]], beside_a_pull=True).json()
    answer = tuner.put(f"/api/v1/joined-files/{kept['id']}/channel-map", json={"channel_map_id": made["id"]})
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["field"] == "channel_map_id"
