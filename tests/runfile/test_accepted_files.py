"""Every file of tests/data/accept is read as the sheet beside it says."""

import json
import re
from pathlib import Path

import numpy as np
import pytest

from pullbook.runfile.any_kind import read_run
from pullbook.runfile.channels import apply_map, recognise

FOLDER = Path(__file__).parents[1] / "data" / "accept"
FILES = sorted(path for path in FOLDER.iterdir() if path.suffix in (".csv", ".txt", ".log"))


def expected(path: Path) -> dict:
    return json.loads(path.with_name(path.name + ".expected.json").read_text(encoding="utf-8"))


def as_row(values: np.ndarray, row: int) -> list[float | None]:
    return [None if np.isnan(value) else float(value) for value in values[:, row]]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_it_reads_columns_and_rows_as_the_sheet_says(path: Path) -> None:
    told, run = expected(path), read_run(path.read_bytes())
    assert [[header.text, header.unit_text] for header in run.headers] == told["columns"]
    assert run.values.dtype == np.float64
    assert run.values.shape == (len(told["columns"]), told["rows"])
    assert as_row(run.values, 0) == told["first_row"]
    if "last_row" in told:
        assert as_row(run.values, -1) == told["last_row"]
    for what, words in told.get("found", {}).items():
        assert run.found.get(what) == words


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_it_recognises_what_is_certain_and_asks_the_rest(path: Path) -> None:
    told, run = expected(path), read_run(path.read_bytes())
    recognised = recognise(run.headers, run.values, needs_roller=path.suffix != ".log")
    assert {one.header: [one.quantity, one.unit] for one in recognised.choices} == told["choices"]
    assert len(recognised.questions) == len(told["questions"]), recognised.questions
    for wanted in told["questions"]:
        assert any(re.search(wanted, question) for question in recognised.questions), (wanted, recognised.questions)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_it_maps_whatever_leaves_no_question(path: Path) -> None:
    run = read_run(path.read_bytes())
    recognised = recognise(run.headers, run.values)
    if recognised.questions:
        if path.suffix == ".log":  # what is joined to a pull has no roller, and that alone is asked about
            assert [one for one in recognised.questions if "roller" not in one] == []
            return
        assert not {"time_s", "engine_speed_rpm"} <= {one.quantity for one in recognised.choices}
        return
    channels = apply_map(run.headers, run.values, recognised.choices)
    assert set(channels) == {one.quantity for one in recognised.choices}
    assert all(channel.shape == (run.values.shape[1],) for channel in channels.values())


def test_it_has_a_sheet_for_each_file_and_a_file_for_each_sheet() -> None:
    sheets = {path.name.removesuffix(".expected.json") for path in FOLDER.glob("*.expected.json")}
    assert sheets == {path.name for path in FILES}
    assert len(FILES) >= 15
