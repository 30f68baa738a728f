"""The fast way through the rows of a table: pandas' C reader, told everything beforehand so that it guesses nothing."""

import csv
import io
import re

import numpy as np
from numpy.typing import NDArray

from pullbook.runfile.layout import Layout
from pullbook.runfile.not_read import RefusedFile, RunFileError
from pullbook.runfile.screening import LARGEST_COLUMNS
from pullbook.runfile.text_lines import LARGEST_CELL

_SMALL = 1_000_000
LARGEST_ROWS = 2_000_000
_TRUTH = re.compile(rb"true|false", re.IGNORECASE)


def check_lines(body: bytes, layout: Layout) -> None:
    """Hold the caps on rows and cells before anything is parsed. One look at where the lines end."""
    ends = np.flatnonzero(np.frombuffer(body, dtype=np.uint8) == 10)
    if ends.size > LARGEST_ROWS:
        raise RefusedFile(f"The file has {ends.size} lines; at most {LARGEST_ROWS} rows are read.")
    edges = np.concatenate(([-1], ends, [len(body)]))
    lengths = np.diff(edges) - 1
    delimiter, width = layout.delimiter.encode(), len(layout.names)
    for place in np.flatnonzero(lengths > LARGEST_CELL).tolist():
        line = body[edges[place] + 1 : edges[place + 1]]
        number = layout.first_line + place
        cells = line.count(delimiter) + 1
        if cells > width and (b'"' not in line or cells > 4 * LARGEST_COLUMNS):
            raise RunFileError(f"Line {number} has {cells} cells where the heading has {width}.", number, width + 1)
        if max(map(len, line.split(delimiter))) > LARGEST_CELL:
            raise RunFileError(
                f"A cell in line {number} is longer than {LARGEST_CELL} bytes, the most that is read.", number
            )


def read_in_bulk(
    body: bytes, layout: Layout, blanks: list[str]
) -> list[NDArray[np.float64] | NDArray[np.object_]] | None:
    """The columns in file order (objects where the layout says 'clock' or 'word'); None when any row or cell is not
    as the layout says, for the careful reader to say which."""
    import pandas  # noqa: PLC0415 - 40 MB and a quarter of a second, needed only when a file arrives

    width = len(layout.names)
    delimiter = layout.delimiter.encode()
    if _has_truths(body):  # pandas would take them for 1 and 0
        return None
    quoted = b'"' in body
    first_row = body[: body.find(b"\n") + 1] or body
    # pandas would only warn of a first row that is too long
    if not (_all_of_width(body, layout) if quoted else first_row.count(delimiter) == width - 1):
        return None
    plain = set(layout.kinds) == {"number"}
    types = {place: np.float64 if kind == "number" else object for place, kind in enumerate(layout.kinds)}
    try:
        frame = pandas.read_csv(
            io.BytesIO(body),
            sep=layout.delimiter,
            decimal=layout.decimal,
            header=None,
            names=range(width),
            dtype=np.float64 if plain else types,
            index_col=False,
            keep_default_na=False,
            na_values=blanks,
            engine="c",
            low_memory=len(body) > _SMALL,  # in one piece a small body is faster, a large one slower
        )
    except (ValueError, OverflowError):  # its ParserError is one too
        return None
    # pandas refuses rows that are too long and fills up those that are too short: the delimiters tell of those
    if not quoted and _count(body, delimiter) != len(frame) * (width - 1):
        return None
    return list(frame.to_numpy().T) if plain else [frame[place].to_numpy() for place in range(width)]


def _count(body: bytes, delimiter: bytes) -> int:
    # one byte in ten is a delimiter: numpy counts those four times as fast as `bytes.count`
    return int(np.count_nonzero(np.frombuffer(body, dtype=np.uint8) == delimiter[0]))


def _all_of_width(body: bytes, layout: Layout) -> bool:
    lines = io.StringIO(body.decode("utf-8"), newline="")
    try:
        return all(len(row) in (0, len(layout.names)) for row in csv.reader(lines, delimiter=layout.delimiter))
    except csv.Error:
        return False


def _has_truths(body: bytes) -> bool:
    # four looks for one byte each cost far less than one pattern over a body of figures
    return any(mark in body for mark in (b"T", b"t", b"F", b"f")) and _TRUTH.search(body) is not None
