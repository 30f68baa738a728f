"""Oddities of real files, each small enough to see whole."""

import numpy as np
import pytest

from pullbook.runfile.delimited import RunFileError, read_delimited

HEADING = "Time [s],Roller speed [rev/min],Note\n"


def columns(text: str) -> list[list[float]]:
    return read_delimited(text.encode()).values.tolist()


def test_it_takes_a_missing_first_cell_for_no_comment() -> None:
    run = read_delimited((HEADING + "0.0,1,\n#N/A,2,\n0.2,3,\n").encode())
    assert np.isnan(run.values[0, 1])
    assert run.values[1].tolist() == [1, 2, 3]


def test_it_keeps_repeated_headings_apart_even_from_each_other() -> None:
    run = read_delimited(b"a,a,a #2,,a\n1,2,3,4,5\n1,2,3,4,5\n")
    assert [header.text for header in run.headers] == ["a", "a #2", "a #2 #2", "column 4", "a #3"]


def test_it_keeps_words_that_come_late_out_of_the_numbers() -> None:
    text = HEADING + "".join(f"{n},{n},\n" for n in range(40)) + "40,40,lift off\n"
    run = read_delimited(text.encode())
    assert run.values.shape == (3, 41)
    assert np.isnan(run.values[2]).all()
    assert run.found["columns of words"] == "Note"


def test_it_does_not_lose_numbers_behind_words() -> None:
    text = "Time [s],Speed [km/h],Lambda\n" + "".join(f"{n},{n},warming\n" for n in range(20))
    run = read_delimited((text + "".join(f"{n},{n},0.9\n" for n in range(20, 60))).encode())
    assert np.isnan(run.values[2, :20]).all()
    assert run.values[2, 20:].tolist() == [0.9] * 40
    assert run.found["words among numbers, left blank"] == "Lambda (20)"


def test_it_does_not_take_truth_words_for_numbers() -> None:
    text = HEADING + "".join(f"{n},{n},\n" for n in range(40)) + "40,TRUE,\n"
    with pytest.raises(RunFileError, match="'TRUE' is not a number"):
        read_delimited(text.encode())


def test_it_finds_the_start_where_sensors_wake_up_late() -> None:
    assert columns("Time [s];v [km/h];p [kPa]\n0,0;;\n0,1;NaN;NaN\n0,2;5,5;101,5\n0,3;6,5;101\n")[0] == [
        0,
        0.1,
        0.2,
        0.3,
    ]


def test_it_reads_padded_notes_above_the_table() -> None:
    run = read_delimited(b"Cell,2,,\nDate,2031-05-02,,\n,,,\nTime [s],Speed [km/h],Gear,\n0,10,3,\n1,11,3,\n2,12,3,\n")
    assert [header.text for header in run.headers] == ["Time [s]", "Speed [km/h]", "Gear"]
    assert run.values.shape == (3, 3)


def test_it_says_when_the_last_line_may_be_cut() -> None:
    assert "last line" in read_delimited(b"a,b\n1,2\n3,4").found
    assert "last line" not in read_delimited(b"a,b\n1,2\n3,4\n").found


def test_it_numbers_lines_as_an_editor_does() -> None:
    for end in ("\n", "\r\n", "\r"):
        text = ("# a\n\n" + HEADING + "0,1,\n\n# b\n1,2,\n2,3x,\n").replace("\n", end)
        with pytest.raises(RunFileError) as caught:
            read_delimited(text.encode())
        assert (caught.value.line, caught.value.column) == (8, 2)


def test_it_leaves_repeated_and_backward_stamps_as_they_are() -> None:
    assert columns("t [s],v [km/h]\n0.2,1\n0.2,2\n0.1,3\n0.3,4\n")[0] == [0.2, 0.2, 0.1, 0.3]


LONG = "Time [s],Roller speed [km/h],Gear\n" + "".join(f"{n / 100:.2f},{50 + n / 1000:.3f},3\n" for n in range(120_000))


def test_it_names_the_line_of_a_fault_far_down_a_long_file() -> None:
    lines = LONG.split("\n")
    lines[100_000] = "1000.00,1O3,3"
    with pytest.raises(RunFileError, match="'1O3' is not a number") as caught:
        read_delimited("\n".join(lines).encode())
    assert (caught.value.line, caught.value.column) == (100_001, 2)
    lines[100_000] = "1000.00,103"
    with pytest.raises(RunFileError, match="has 2 cells where the heading has 3") as caught:
        read_delimited("\n".join(lines).encode())
    assert caught.value.line == 100_001


def test_it_reads_a_long_file_with_one_odd_blank_to_the_same_bits() -> None:
    plain = read_delimited(LONG.encode()).values
    odd = read_delimited((LONG + "1200.00, N/a ,3\n").encode())
    assert odd.values[:, :-1].tobytes() == plain.tobytes()
    assert odd.values.shape == (3, 120_001)
    assert np.isnan(odd.values[1, -1])


def test_it_reads_padded_cells_as_their_own() -> None:
    run = read_delimited(b"Time [s]; Speed [km/h] ; p [kPa]\n 0,0;  n/a ; 1\n 0,1;  12,5 ; NaN \n 0,2; - ; 3\n")
    assert [header.text for header in run.headers] == ["Time [s]", "Speed [km/h]", "p [kPa]"]
    assert np.array_equal(run.values, [[0, 0.1, 0.2], [np.nan, 12.5, np.nan], [1, np.nan, 3]], equal_nan=True)
    with pytest.raises(RunFileError, match="thousands marks"):
        read_delimited(b"Time [s]; Speed [mm/s] ; p [kPa]\n 0,0;  1 250 ; 1\n 0,1;  12,5 ; NaN \n 0,2; - ; 3\n")


def test_it_does_not_look_for_minutes_through_a_very_long_file() -> None:
    text = LONG + LONG[LONG.index("\n") + 1 :] * 8 + "1200.00,50,N\n"
    with pytest.raises(RunFileError, match="so long a file"):
        read_delimited(text.encode())
