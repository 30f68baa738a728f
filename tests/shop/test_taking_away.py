"""Numbers taken away: read back they are the same bits, with what was said of them, and no cell is a formula."""

import csv
import json
from io import StringIO

import duckdb
import numpy as np
import pytest

from pullbook.runfile.delimited import read_delimited
from pullbook.shop.taking_away import NamedColumn, TakenAway, csv_bytes, parquet_bytes

SPEED = np.arange(2000.0, 7000.0, 50.0)
POWER = np.pi * SPEED**1.5
POWER[3] = np.nan
TOLD = (("what", "curve"), ("standard", "ISO 1585, UN R85 (iso_1585)"), ("file", 'run, "7"; λ.csv'))
TABLE = TakenAway(
    TOLD,
    (
        NamedColumn("engine_speed_rpm", "engine speed", "rev/min", SPEED),
        NamedColumn("power_w", "power", "W", POWER),
        NamedColumn("tiny", "a small number", "", SPEED * 1e-13 - 2e-10),
    ),
)
FORMULAS = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", " =1", '=HYPERLINK("x";"y")', "plain", "λ, twice", ""]


def test_our_own_reader_gets_the_same_numbers_back_from_csv() -> None:
    read = read_delimited(csv_bytes(TABLE))
    assert [header.text for header in read.headers] == [column.heading for column in TABLE.columns]
    for values, column in zip(read.values, TABLE.columns, strict=True):
        np.testing.assert_array_equal(values, column.values)


def test_what_was_said_stands_in_the_comment_lines_of_csv_and_breaks_none() -> None:
    lines = csv_bytes(TABLE).decode().split("\r\n")
    head = [line for line in lines if line.startswith("#")]
    assert head == [
        "# what: curve",
        "# standard: ISO 1585 UN R85 (iso_1585)",
        "# file: run 7 λ.csv",
        "# names: engine_speed_rpm power_w tiny",
    ]
    assert lines[len(head)] == "engine speed [rev/min],power [W],a small number"
    assert lines[-1] == ""
    assert {line.count(",") for line in lines[len(head) : -1]} == {2}


def test_no_cell_of_csv_begins_a_formula_in_any_delimiter() -> None:
    told = (("what", "=cmd()"), ("file", "a,=cmd(),@b;=c|=d"))
    text = csv_bytes(TakenAway(told, (NamedColumn("word", "=word", "", FORMULAS),))).decode()
    for delimiter in ",;\t|":
        for row in csv.reader(StringIO(text), delimiter=delimiter):
            assert not [cell for cell in row if cell.lstrip().startswith(("=", "+", "-", "@"))], (delimiter, row)


def test_words_that_are_no_formula_come_back_as_they_were() -> None:
    words = ["plain", "λ, twice", 'a "b"', "two\nlines", "semi;colon"]
    text = csv_bytes(TakenAway((), (NamedColumn("word", "word", "", words), NamedColumn("n", "n", "", np.ones(5)))))
    rows = list(csv.reader(StringIO(text.decode(), newline="")))
    assert [row[0] for row in rows[2:]] == words


def test_an_independent_reader_gets_the_same_numbers_back_from_parquet(tmp_path) -> None:
    path = tmp_path / "curve.parquet"
    path.write_bytes(parquet_bytes(TABLE))
    read = duckdb.sql(f"select * from '{path}'")
    assert read.columns == [column.name for column in TABLE.columns]
    assert {str(kind) for kind in read.types} == {"DOUBLE"}
    for column in TABLE.columns:
        values = [row[0] for row in duckdb.sql(f"select {column.name} from '{path}'").fetchall()]
        expected = [None if np.isnan(value) else value for value in column.values.tolist()]
        assert values == expected  # to the last bit, and no value is null, not a number that compares


def test_parquet_says_of_the_file_and_of_each_column_what_it_is(tmp_path) -> None:
    path = tmp_path / "curve.parquet"
    path.write_bytes(parquet_bytes(TABLE))
    rows = duckdb.sql(f"select key, value from parquet_kv_metadata('{path}')").fetchall()
    told = {key.decode(): value.decode() for key, value in rows}
    assert {word: told[word] for word, _ in TOLD} == dict(TOLD)
    assert json.loads(told["columns"])["power_w"] == {"title": "power", "unit": "W"}
    chunks = duckdb.sql(f"select path_in_schema, key_value_metadata from parquet_metadata('{path}')").fetchall()
    found = {name: {key.decode(): value.decode() for key, value in words.items()} for name, words in chunks}
    assert found == {c.name: {"title": c.title, "unit": c.unit} for c in TABLE.columns}


def test_parquet_keeps_words_verbatim(tmp_path) -> None:
    path = tmp_path / "words.parquet"
    columns = (NamedColumn("word", "word", "", FORMULAS), NamedColumn("n", "n", "", np.arange(len(FORMULAS)) * 1.0))
    path.write_bytes(parquet_bytes(TakenAway((), columns)))
    assert [row[0] for row in duckdb.sql(f"select word from '{path}' order by n").fetchall()] == FORMULAS


def test_the_same_table_gives_the_same_bytes() -> None:
    assert csv_bytes(TABLE) == csv_bytes(TABLE)
    assert parquet_bytes(TABLE) == parquet_bytes(TABLE)


@pytest.mark.parametrize(
    "columns",
    [
        (),
        (NamedColumn("a", "a", "", SPEED), NamedColumn("b", "b", "", SPEED[1:])),
        (NamedColumn("a", "a", "", SPEED), NamedColumn("a", "b", "", SPEED)),
    ],
)
def test_columns_that_make_no_table_are_refused(columns: tuple[NamedColumn, ...]) -> None:
    with pytest.raises(ValueError, match="column"):
        TakenAway((), columns)
