"""Mapping a setup's fuel: cells of engine speed and load from all of its pulls, in JSON and as CSV."""

import csv

import pytest

from tests.api.held_files import engine_rpm, problem_fields, steps_csv
from tests.api.pull_files import Steady, filed

PATH = "/api/v1/fuel-maps"
LEAN_RICH = steps_csv((60.0, 90.0, 40.0, 0.945, 50.0), (60.0, 180.0, 80.0, 0.855, 90.0))
EDGES = {"speed_edges": "2000,3000,4000", "load_edges": "40,60,100"}  # 60 rad/s is 2979 rev/min


def fuel_map(client, **query):
    answer = client.get(PATH, params=query)
    assert answer.status_code == 200, answer.text
    return answer.json()


def test_each_cell_has_time_error_and_the_multiplier_that_would_close_it(tuner, house):
    filed(tuner, house, LEAN_RICH, kind="part_throttle")
    found = fuel_map(tuner, setup_id=house.setup_id, lag_s=0.0, **EDGES)
    assert 2000.0 < engine_rpm(60.0) < 3000.0
    assert [row[0] for row in found["time_s"]] == pytest.approx([10.0, 10.0], abs=0.03)
    assert [row[0] for row in found["multiplier"]] == pytest.approx([1.05, 0.95], abs=1e-4)
    assert [row[0] for row in found["lambda_error"]] == pytest.approx([0.045, -0.045], abs=1e-4)
    assert [row[1] for row in found["multiplier"]] == [None, None]
    assert (found["load_axis"], found["load_unit"]) == ("manifold_pressure_kpa", "kPa")
    assert not found["edges_by_itself"]
    assert "lean cells first" in found["advice"]


def test_every_counting_pull_of_the_setup_is_in_it_and_the_others_say_why_not(tuner, house):
    filed(tuner, house, LEAN_RICH, kind="part_throttle", file_name="a.csv")
    filed(tuner, house, LEAN_RICH + b"\n", kind="hold", file_name="b.csv")
    aside = filed(tuner, house, LEAN_RICH + b"\n\n", kind="hold", file_name="c.csv")
    tuner.post(f"/api/v1/pulls/{aside['id']}/set-aside", json={"reason": "probe unplugged"})
    filed(tuner, house, Steady().csv(), file_name="no command.csv")
    filed(tuner, house, LEAN_RICH + b"\n\n\n", kind="hold", setup_id=house.second_setup_id, file_name="other.csv")
    found = fuel_map(tuner, setup_id=house.setup_id, lag_s=0.0, **EDGES)
    said = {one["file_name"]: one["left_out"] for one in found["sources"]}
    assert list(said) == ["a.csv", "b.csv", "c.csv", "no command.csv"]
    assert (said["a.csv"], said["b.csv"]) == (None, None)
    assert "probe unplugged" in said["c.csv"]
    assert "manifold pressure" in said["no command.csv"]
    assert found["time_s"][0][0] == pytest.approx(20.0, abs=0.06)


def test_over_throttle_a_sweep_without_command_needs_the_mixture_that_is_wanted(tuner, house):
    filed(tuner, house, Steady(lambda_value=0.9).csv())
    asked = {"setup_id": house.setup_id, "load_axis": "throttle_pct", "load_edges": "90,100"}
    bare = fuel_map(tuner, **asked)
    assert "state the λ wanted" in bare["sources"][0]["left_out"]
    assert bare["multiplier"] == []
    found = fuel_map(tuner, **asked, wanted="0.75", minimum_time_s=0.1)
    seen = [value for row in found["multiplier"] for value in row if value is not None]
    assert seen
    assert seen == pytest.approx([1.2] * len(seen), abs=1e-3)
    assert found["sources"][0]["wanted_by"] == "target"


def test_edges_left_out_are_chosen_from_the_pulls(tuner, house):
    filed(tuner, house, LEAN_RICH, kind="part_throttle")
    found = fuel_map(tuner, setup_id=house.setup_id)
    assert found["edges_by_itself"]
    assert found["speed_edges_rpm"][0] <= engine_rpm(60.0) < found["speed_edges_rpm"][-1]
    assert (found["load_edges"][0], found["load_edges"][-1]) == (50.0, 90.0)
    assert sum(found["left_out_s"].values()) == pytest.approx(found["sources"][0]["lag_s"], abs=0.03)


def test_cells_with_too_little_time_are_blank_but_say_their_time(tuner, house):
    filed(tuner, house, LEAN_RICH, kind="part_throttle")
    found = fuel_map(tuner, setup_id=house.setup_id, minimum_time_s=30.0, **EDGES)
    assert {value for row in found["multiplier"] for value in row} == {None}
    assert found["time_s"][0][0] > 9.0


def test_what_lies_outside_is_counted(tuner, house):
    filed(tuner, house, LEAN_RICH, kind="part_throttle")
    found = fuel_map(tuner, setup_id=house.setup_id, lag_s=0.0, speed_edges="2000,3000", load_edges="40,60")
    assert found["left_out_s"]["above_load"] == pytest.approx(10.0, abs=0.03)
    assert found["total_s"] == pytest.approx(20.0, abs=0.03)


def test_a_saved_layout_gives_the_cells_and_the_address_may_say_otherwise(tuner, house):
    filed(tuner, house, LEAN_RICH, kind="part_throttle")
    told = {"name": "Sixteen by two", "load_axis": "manifold_pressure_kpa", "speed_edges_rpm": [1000, 3000, 5000],
            "load_edges": [0, 60, 120], "minimum_time_s": 2.0}  # fmt: skip
    layout = tuner.post("/api/v1/fuel-map-layouts", json=told).json()
    found = fuel_map(tuner, setup_id=house.setup_id, layout_id=layout["id"])
    assert (found["speed_edges_rpm"], found["load_edges"]) == ([1000, 3000, 5000], [0, 60, 120])
    assert found["minimum_time_s"] == 2.0
    other = fuel_map(tuner, setup_id=house.setup_id, layout_id=layout["id"], load_edges="40,100")
    assert (other["speed_edges_rpm"], other["load_edges"]) == ([1000, 3000, 5000], [40, 100])


def test_chosen_pulls_make_a_map_of_their_own_and_must_be_of_one_setup(tuner, house):
    one = filed(tuner, house, LEAN_RICH, kind="hold", file_name="a.csv")
    filed(tuner, house, LEAN_RICH + b"\n", kind="hold", file_name="b.csv")
    far = filed(tuner, house, LEAN_RICH + b"\n\n", kind="hold", setup_id=house.second_setup_id, file_name="c.csv")
    assert len(fuel_map(tuner, pull_id=[one["id"]])["sources"]) == 1
    assert problem_fields(tuner.get(PATH, params={"pull_id": [one["id"], far["id"]]})) == ["pull_id"]


def test_a_setup_without_pulls_has_an_empty_map(desk, house):
    found = fuel_map(desk, setup_id=house.setup_id)
    assert (found["sources"], found["multiplier"], found["total_s"]) == ([], [], 0.0)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("speed_edges", "2000,1000"), ("speed_edges", "2000"), ("load_edges", "forty,60"), ("load_edges", "1,nan"),
        ("load_axis", "boost"), ("wanted", "0.9,0.8,0.7"), ("wanted", "14.7"), ("minimum_time_s", "-1"),
        ("lag_s", "99"),
    ],
)  # fmt: skip
def test_what_cannot_be_meant_is_refused_by_its_field(tuner, house, field, value):
    filed(tuner, house, LEAN_RICH, kind="part_throttle")
    answer = tuner.get(PATH, params={"setup_id": house.setup_id, **EDGES, field: value})
    assert [name.removeprefix("query.") for name in problem_fields(answer)] == [field]
    assert answer.json()["problems"][0]["would_do"]


def test_neither_setup_nor_pulls_is_refused_and_unknown_ones_are_not_found(desk):
    assert problem_fields(desk.get(PATH)) == ["setup_id"]
    assert desk.get(PATH, params={"setup_id": "0123456789abc"}).status_code == 404
    assert desk.get(PATH, params={"pull_id": "0123456789abc"}).status_code == 404


def test_as_csv_the_head_says_lag_minimum_time_units_and_method(tuner, house):
    filed(tuner, house, LEAN_RICH, kind="part_throttle", file_name="part one.csv")
    asked = {"setup_id": house.setup_id, "lag_s": 0.25, "minimum_time_s": 1.5, "format": "csv", **EDGES}
    answer = tuner.get(PATH, params=asked)
    assert answer.headers["content-type"] == "text/csv; charset=utf-8"
    assert answer.headers["content-disposition"].startswith('attachment; filename="fuel-map-')
    lines = answer.text.split("\r\n")
    head = [line for line in lines if line.startswith("#")]
    for said in ("# method: 2", "0.25 s for every pull", "1.5 s", "kPa", "part one.csv", "low ≤ x < high"):
        assert any(said in line for line in head), said
    rows = list(csv.reader(line for line in lines[len(head) :] if line))
    assert rows[0][0] == "engine speed from [rev/min]"
    assert len(rows) == 1 + 4
    cell = dict(zip(rows[0], rows[1], strict=True))
    assert float(cell["fuel multiplier"]) == pytest.approx(1.05, abs=5e-3)
    assert rows[2][5] == ""  # nobody was in that cell
