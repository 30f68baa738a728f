"""Clock times become seconds, to the very bits of the decimal that they are."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pullbook.runfile.clock_times import NotAClockError, clock_seconds


@pytest.mark.parametrize(
    ("cells", "seconds"),
    [
        (["10:00:00", "10:00:01"], [36000.0, 36001.0]),
        (["0:00:12.345", "00:00:12,350"], [12.345, 12.35]),
        (["10:00:00:250"], [36000.25]),
        (["01:30.5", "59:59.9"], [90.5, 3599.9]),
        (["12:00:00.5 AM", "12:00:01 pm", "1:00:00 p.m."], [0.5, 43201.0, 46800.0]),
        (["2031-05-02T14:00:00.125Z", "2031-05-02T14:00:00.25+02:00"], [50400.125, 50400.25]),
        (["2.5.2031 14:00:00", "2.5.2031  14:00:00,5"], [50400.0, 50400.5]),
    ],
)
def test_it_reads_clocks_as_they_are_written(cells: list[str], seconds: list[float]) -> None:
    assert clock_seconds(cells).tolist() == seconds


@given(st.integers(0, 86_399), st.text("0123456789", min_size=1, max_size=9))
def test_it_gives_the_bits_of_the_decimal(whole: int, part: str) -> None:
    cell = f"{whole // 3600:02}:{whole // 60 % 60:02}:{whole % 60:02}.{part}"
    assert clock_seconds([cell])[0] == float(f"{whole}.{part}")


def test_it_goes_on_over_midnight_with_and_without_a_date() -> None:
    plain = clock_seconds(["23:59:59.5", "00:00:00.5", "00:00:01"])
    dated = clock_seconds(["2031-12-31 23:59:59.5", "2032-01-01 00:00:00.5", "2032-01-01 00:00:01"])
    assert plain.tolist() == dated.tolist() == [86399.5, 86400.5, 86401.0]


def test_it_goes_on_over_the_full_hour_of_a_short_clock() -> None:
    assert clock_seconds(["59:59.5", "00:00.5"]).tolist() == [3599.5, 3600.5]


def test_it_leaves_a_small_step_back_as_it_is() -> None:
    assert clock_seconds(["10:00:00.5", "10:00:00.4", "10:00:00.4"]).tolist() == [36000.5, 36000.4, 36000.4]


def test_it_leaves_blanks_blank() -> None:
    assert str(clock_seconds(["10:00:00", "", "nan", None, "10:00:01"]).tolist()) == "[36000.0, nan, nan, nan, 36001.0]"


@pytest.mark.parametrize("cell", ["10:60:00", "25", "10:00", "a:b:c", "10:00:61", "2031-05-02"])
def test_it_names_the_row_of_what_is_no_clock(cell: str) -> None:
    with pytest.raises(NotAClockError) as caught:
        clock_seconds(["10:00:00", cell])
    assert caught.value.row == 1


def test_it_doubts_a_date_that_changes_by_day() -> None:
    with pytest.raises(NotAClockError, match="no midnight"):
        clock_seconds(["2031-05-02 10:00:00", "2031-05-03 10:00:01"])
