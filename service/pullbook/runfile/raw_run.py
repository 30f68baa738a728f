"""A file's own columns as numbers, whichever reader made them."""

import numpy as np
from numpy.typing import NDArray

from pullbook.late_methods import dataclass


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
    `reader` names who read it, with a version, and is kept beside the columns.
    """

    headers: tuple[Header, ...]
    values: NDArray[np.float64]
    found: dict[str, str]
    reader: str
