"""Saving the cells of a fuel map under a name, and changing them."""

import pytest

from tests.api.held_files import problem_fields

PATH = "/api/v1/fuel-map-layouts"
TOLD = {
    "name": "Eight by six",
    "load_axis": "manifold_pressure_kpa",
    "speed_edges_rpm": [1000.0, 2000.0, 3000.0],
    "load_edges": [20.0, 60.0, 100.0],
    "minimum_time_s": 0.8,
}


def save(client, **changes):
    return client.post(PATH, json=TOLD | changes)


def test_a_layout_is_kept_as_it_was_given(tuner, desk):
    answer = save(tuner)
    assert answer.status_code == 201, answer.text
    kept = answer.json()
    assert {name: kept[name] for name in TOLD} == TOLD
    assert kept["made_by_name"] == "Tadeo Brandvik"
    assert desk.get(f"{PATH}/{kept['id']}").json() == kept
    assert desk.get(PATH).json() == {"items": [kept], "next": None}


def test_two_layouts_cannot_share_a_name(tuner):
    save(tuner)
    answer = save(tuner)
    assert answer.status_code == 409
    assert answer.json()["problems"][0]["field"] == "name"


@pytest.mark.parametrize(
    ("field", "value", "named"),
    [
        ("speed_edges_rpm", [3000.0, 1000.0], "speed_edges"),
        ("load_edges", [1.0, 1.0], "load_edges"),
        ("load_edges", [1.0], "load_edges"),
        ("load_axis", "boost", "load_axis"),
        ("minimum_time_s", -1.0, "minimum_time_s"),
        ("name", "", "name"),
    ],
)
def test_cells_that_cannot_be_are_refused_by_their_field(tuner, field, value, named):
    assert [name.removeprefix("body.") for name in problem_fields(save(tuner, **{field: value}))] == [named]
    assert tuner.get(PATH).json()["items"] == []


def test_a_change_counts_the_version_on_and_stands_in_the_audit_trail(tuner, owner):
    kept = save(tuner).json()
    changed = tuner.patch(f"{PATH}/{kept['id']}", json={"version": 1, "load_edges": [0.0, 50.0, 150.0]})
    assert changed.status_code == 200, changed.text
    assert (changed.json()["load_edges"], changed.json()["version"]) == ([0.0, 50.0, 150.0], 2)
    latest, first = owner.get("/api/v1/audit").json()["items"][:2]
    assert (latest["action"], latest["record"], latest["before"]) == (
        "change", "fuel_map_layout", {"load_edges": [20.0, 60.0, 100.0]})  # fmt: skip
    assert (first["action"], first["record"]) == ("make", "fuel_map_layout")


def test_somebody_who_saw_an_older_layout_is_told(tuner):
    kept = save(tuner).json()
    tuner.patch(f"{PATH}/{kept['id']}", json={"version": 1, "name": "Another"})
    assert tuner.patch(f"{PATH}/{kept['id']}", json={"version": 1, "minimum_time_s": 2.0}).status_code == 409


def test_a_layout_cannot_take_the_name_of_another(tuner):
    save(tuner)
    other = save(tuner, name="Another").json()
    assert tuner.patch(f"{PATH}/{other['id']}", json={"version": 1, "name": TOLD["name"]}).status_code == 409
    assert tuner.patch(f"{PATH}/{other['id']}", json={"version": 1, "name": "Another"}).status_code == 200


def test_the_front_desk_may_look_but_not_save(desk, tuner):
    save(tuner)
    assert save(desk, name="Mine").status_code == 403
    assert len(desk.get(PATH).json()["items"]) == 1
