"""Delimited text, as loggers and spreadsheets really write it → `RawRun`."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pullbook.runfile.refusals import RefusedFile, RunFileError
from pullbook.runfile.screening import screen

READER = "delimited-1"  # stored beside a column block: which reader made it

__all__ = ["READER", "Header", "RawRun", "RefusedFile", "RunFileError", "read_delimited", "screen"]


@dataclass(frozen=True)
class Header:
    """One column's heading. `text` is the heading as written (unit included when it stands there) and unique in its
    file; `unit_text` is the unit as written, without its brackets, or "" when the file states none."""

    text: str
    unit_text: str = ""


@dataclass(frozen=True)
class RawRun:
    """A file's own columns as numbers, in its own units and order.

    `values` is float64 of shape (columns, rows), NaN where a cell is blank or is not a number; clock times are seconds.
    `found` says in words what the file is (encoding, delimiter, decimal, comments, header line, blanks, repairs).
    """

    headers: tuple[Header, ...]
    values: NDArray[np.float64]
    found: dict[str, str]


def read_delimited(data: bytes) -> RawRun:
    """Read a whole file.

    Raises `RefusedFile` for what is no delimited text or beyond a cap (512 columns, 4 kB a cell, 2 million rows,
    200 lines before the table), `RunFileError` for delimited text with a fault; never anything else.
    """
    raise NotImplementedError
