"""Bytes of any kind of file that is read here → `RawRun`: which reader a file is for is told from its first bytes."""

from pullbook.runfile.decoding import as_utf8
from pullbook.runfile.delimited import read_delimited
from pullbook.runfile.mdf import read_mdf
from pullbook.runfile.obdlog import looks_like_frames, read_can_log
from pullbook.runfile.raw_run import RawRun
from pullbook.runfile.screening import LOOKED_AT, MEASUREMENT_MARKS, screen


def read_run(data: bytes) -> RawRun:
    """Read a whole file: delimited text, a text CAN log with diagnostic answers, or ASAM MDF 4.

    Raises `RefusedFile` for what is no such file or beyond a cap, `RunFileError` for one with a fault; never anything
    else.
    """
    screen(data[:LOOKED_AT], len(data))
    if data.startswith(MEASUREMENT_MARKS):
        return read_mdf(data)
    if _may_hold_frames(data) and looks_like_frames(as_utf8(data)[0][: 4 * LOOKED_AT]):
        return read_can_log(data)
    return read_delimited(data)


def _may_hold_frames(data: bytes) -> bool:
    """A quick look that spares a table of figures the question: no CAN log is without one of these."""
    start = data[:LOOKED_AT].replace(b"\x00", b"").upper()
    return b"#" in start or b"7E" in start or b"7DF" in start or b"18D" in start
