"""Lines of CAN logs are read by their shape, as an outside reader reads them; tables of figures are none."""

import pytest

from pullbook.runfile.can_lines import Frame, frame_of
from tests.published.published_rows import PublishedRow, case, published

DATA = bytes.fromhex("04410C1AF8000000")


@pytest.mark.parametrize("row", published("can_lines"), ids=case)
def test_it_reads_what_an_outside_reader_reads(row: PublishedRow) -> None:
    frame = frame_of(row.inputs["line"])
    assert frame is not None
    read = {
        "timestamp_s": frame.time_text,
        "extended": "yes" if frame.extended else "no",
        "dlc": str(len(frame.data)),
        "data_hex": frame.data.hex().upper(),
        "channel": frame.bus,
        "id_hex": f"{frame.identifier:X}",
    }
    assert read[row.inputs["field"]] == row.expected, row.source


@pytest.mark.parametrize(
    "line",
    [
        "(0.1234) can0 7E8#04410C1AF8000000",
        " (0.1234)  can0  7E8   [8]  04 41 0C 1A F8 00 00 00",
        "0.1234  7E8  8  04 41 0C 1A F8 00 00 00",
        "0.1234\t7e8\t8\t04 41 0c 1a f8 00 00 00",
        "0.1234,0x7E8,8,04,41,0C,1A,F8,00,00,00",
        "0,1234;7E8;8;04410C1AF8000000",
        "   0.1234 1  7E8             Rx   d 8 04 41 0C 1A F8 00 00 00",
        "0.1234 7E8 04 41 0C 1A F8 00 00 00",
        "0.1234 000007E8 8 0x04 0x41 0x0C 0x1A 0xF8 0x00 0x00 0x00",
        "(0.1234) vcan0 7E8##104410C1AF8000000",
    ],
)
def test_one_frame_in_many_shapes_is_one_frame(line: str) -> None:
    frame = frame_of(line)
    assert frame is not None, line
    assert (float(frame.time_text), frame.identifier, frame.extended, frame.data) == (0.1234, 0x7E8, False, DATA)


def test_identifiers_of_29_bits_are_known_by_their_eight_digits() -> None:
    frame = frame_of("3.5 18DAF110x Rx 8 04 41 0C 1A F8 00 00 00")
    assert frame == Frame("3.5", 0x18DAF110, True, DATA)


@pytest.mark.parametrize(
    ("line", "seconds"),
    [("10:04:05.250 7E8 8 04 41 0C 1A F8 00 00 00", "36245.250"), ("2031-05-02 00:00:09 7E8#0441", "9.0")],
)
def test_times_of_day_become_seconds(line: str, seconds: str) -> None:
    frame = frame_of(line)
    assert frame is not None
    assert frame.time_text == seconds


@pytest.mark.parametrize(
    "line",
    [
        "",
        "# a comment 7E8#04410C1AF8000000",
        "// 0.1 7E8 8 04 41 0C 1A F8 00 00 00",
        "time;id;dlc;data",
        "0.00,100.0,3,4",
        "1,100,10,20",
        "0.1 7E8 8 04 41 0C",
        "0.1 7E8 R 8",
        "7E8 8 04 41 0C 1A F8 00 00 00",
        "(0.1) can0 7E8#04410C1AF80",
        "(0.1) can0 7E8#R",
        "0.1 7E8 9" + " 00" * 200,
    ],
)
def test_what_states_no_frame_is_none(line: str) -> None:
    assert frame_of(line) is None
