"""Bytes of any kind of file that is read here → `RawRun`: which reader a file is for is told from its first bytes."""

import re

from pullbook.runfile.decoding import as_utf8
from pullbook.runfile.delimited import read_delimited
from pullbook.runfile.mdf import read_mdf
from pullbook.runfile.obdlog import looks_like_frames, read_can_log
from pullbook.runfile.raw_run import RawRun
from pullbook.runfile.screening import LOOKED_AT, MEASUREMENT_MARKS, screen

# what `looks_like_frames` insists on, asked of bytes: `identifier#`, or an address of ISO 15765-4 as a word of its own.
# Each begins with the letters themselves and looks behind afterwards, which is forty times as fast as the other way.
_MAYBE_FRAMES = tuple(
    map(
        re.compile,
        (
            rb"#(?<=[0-9A-FXH \t]#)",
            rb"7E(?<![0-9A-F.]7E)[0-9A-F](?![0-9A-F.])",
            rb"7DF(?<![0-9A-F.]7DF)(?![0-9A-F.])",
            rb"18D[AB](?<![0-9A-F.]18D[AB])[0-9A-F]{4}(?![0-9A-F.])",
        ),
    )
)


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
    return any(pattern.search(start) for pattern in _MAYBE_FRAMES)
