"""Whatever is sent, the answer is a table, or one of the two refusals."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from pullbook.runfile.bulk import read_in_bulk
from pullbook.runfile.careful import column_numbers, read_rows
from pullbook.runfile.cell_text import BLANK_SPELLINGS
from pullbook.runfile.channels import recognise
from pullbook.runfile.delimited import RawRun, RefusedFile, RunFileError, read_delimited
from pullbook.runfile.layout import find_layout

GOOD = (
    "# Kestrel, run 3\nTime [s];Roller speed [rev/min];Note\n"
    + "".join(f"{n / 100:.2f};{400 + n * 0.75};{'' if n % 3 else 'ok'}\n" for n in range(40))
).encode()
PIECES = (
    *(",", ";", "\t", "|", "\n", "\r\n", "\r", '"', '""', "\x00", "\ufeff", " ", "#", "//", "%", "sep=;\n", "=1+1"),
    *("1", "0.5", "0,5", "1e5", "1e999", "-", "NaN", "inf", "TRUE", "false", "1.234,5", "1_0", "0x1A", "१", "٣", "½"),
    *(
        "Time [s]",
        "Time",
        "rpm",
        "km/h",
        "Roller speed",
        "10:00:00",
        "10:00:00.5",
        "2031-01-01 10:00:00",
        "01:02.5",
        "λ",
    ),
)


def read_or_refused(data: bytes) -> RawRun | None:
    """The table, checked for what every table must be; None when refused. Any other exception fails the test."""
    try:
        run = read_delimited(data)
    except (RunFileError, RefusedFile) as refusal:
        line = getattr(refusal, "line", None)
        said = bool(refusal.reason) and (line is None or 1 <= line <= data.count(b"\n") + data.count(b"\r") + 1)
        if not said:
            raise AssertionError(f"no reason, or no such line: {refusal.reason!r}, {line}") from refusal
        return None
    assert run.values.dtype == np.float64
    assert run.values.shape[0] == len(run.headers) >= 1
    assert run.values.shape[1] >= 1
    assert not np.isinf(run.values).any()
    assert len({header.text for header in run.headers}) == len(run.headers)
    assert all(isinstance(words, str) for words in run.found.values())
    recognise(run.headers, run.values)
    return run


@settings(max_examples=300, deadline=None)
@given(st.binary(max_size=400))
@example(b"")
@example(b"\x1a")
@example(b"\xff\xfe")
@example(b"\xef\xbb\xbf")
@example(b"\xff\xfe\x00\xd8\x00\xd8")
@example(b"\x81,\x8d\n1,2\n")
def test_it_answers_any_bytes(data: bytes) -> None:
    read_or_refused(data)


@settings(max_examples=500, deadline=None)
@given(st.lists(st.sampled_from(PIECES), max_size=80), st.sampled_from(("utf-8", "utf-16", "utf-16-be")))
def test_it_answers_any_heap_of_pieces(pieces: list[str], encoding: str) -> None:
    read_or_refused("".join(pieces).encode(encoding))


@settings(max_examples=400, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, len(GOOD)), st.integers(0, 12), st.sampled_from(PIECES)), min_size=1, max_size=4)
)
def test_it_answers_a_damaged_file(damages: list[tuple[int, int, str]]) -> None:
    data = GOOD
    for at, taken, put in damages:
        data = data[:at] + put.encode() + data[at + taken :]
    read_or_refused(data)


cells = st.sampled_from(
    ("1", "2.5", "-3e2", ".5", "+4.", "", "NaN", " 7", "8 ", "inf", "n/a", "x", "1O", "1,5", "TRUE")
)


@settings(max_examples=400, deadline=None)
@given(st.lists(st.tuples(cells, cells), min_size=1, max_size=8))
def test_it_reads_fast_and_carefully_to_the_same_bits(rows: list[tuple[str, str]]) -> None:
    start = "Time [s];Roller speed [rev/min]\n" + "".join(f"{n}.5;{n}\n" for n in range(12))
    data = (start + "".join(f"{one};{two}\n" for one, two in rows)).encode()
    layout = find_layout(data)
    body = data[layout.first_byte :]
    fast = read_in_bulk(body, layout, BLANK_SPELLINGS)
    if fast is None:
        return
    careful = read_rows(body.decode(), layout)
    kept = np.array([column_numbers(careful, place, layout, strict=True)[0] for place in range(2)])
    whole = [row for row in range(len(fast[0])) if row < 12 or "".join(rows[row - 12]).strip()]
    assert np.array_equal(np.array(fast)[:, whole], kept, equal_nan=True)


@pytest.mark.parametrize("cut", range(1, 60, 7))
def test_it_drops_only_a_last_row_cut_short(cut: int) -> None:
    run = read_or_refused(GOOD[:-cut])
    whole = read_delimited(GOOD)
    assert run is not None
    rows = run.values.shape[1]
    assert np.array_equal(run.values[:, : rows - 1], whole.values[:, : rows - 1], equal_nan=True)
