"""Where the rows of numbers begin, and how their cells are divided: by which delimiter, with which decimal mark."""

import re
from typing import NamedTuple

from pullbook.late_methods import dataclass
from pullbook.runfile.cell_text import kind
from pullbook.runfile.not_read import RunFileError
from pullbook.runfile.text_lines import cells_of

LARGEST_HEAD_LINES = 200
SAMPLE_ROWS = 12
# the comma last: it may be the decimal mark of a file divided by another
_TRIED = ";\t|,"
_LATER_COMMA = re.compile(rb"(?<![0-9,.:])[0-9]+,[0-9]+(?![0-9,.:])")
_LATER_POINT = re.compile(rb"(?<![0-9,.:])[0-9]+\.[0-9]+(?![0-9,.:])")
_WORTH = {"number": 1, "clock": 1, "blank": 0, "word": -2}


class Row(NamedTuple):
    """One row: its line, counted from 0, its cells, and what kind each is."""

    place: int
    cells: list[str]
    kinds: list[str]


@dataclass(frozen=True)
class FirstRows:
    """The first rows of the table, as one way to divide the cells has them; `first` is the line, counted from 0."""

    delimiter: str
    decimal: str
    first: int
    rows: list[Row]
    score: int

    @property
    def width(self) -> int:
        return len(self.rows[0].cells)

    @property
    def is_plain(self) -> bool:
        """A full sample without a word in it: no other way to divide the cells can be better."""
        return len(self.rows) >= SAMPLE_ROWS and not any("word" in row.kinds for row in self.rows)


def find_first_rows(lines: list[str], top: int, declared: str | None) -> FirstRows:
    """The first rows of the table, divided in the likeliest way. Raises `RunFileError` where there are none.

    `top`: the first line to look at; `declared`: the delimiter, where the file names it.
    """
    text = "\n".join(lines)
    for least_numbers in (0.5, 0.0):  # a table of mostly words is believed only where no table of numbers is found
        best: FirstRows | None = None
        for delimiter in declared or _TRIED:
            if delimiter not in text:
                continue
            one = _divided_by(lines, top, delimiter, least_numbers)
            if one is not None and (best is None or one.score > best.score):
                best = one
            if best is not None and best.is_plain:
                return best
        if best is not None and best.first < LARGEST_HEAD_LINES:
            return best
    if len(lines) <= LARGEST_HEAD_LINES:
        raise RunFileError("There are no rows of numbers in this file: at least two columns of numbers are needed.")
    raise RunFileError(f"There is no table of numbers in the first {LARGEST_HEAD_LINES} lines.", LARGEST_HEAD_LINES)


def _divided_by(lines: list[str], top: int, delimiter: str, least_numbers: float) -> FirstRows | None:
    """The table, if cells are divided like this: the rows of the width that most of the early rows have."""
    runs: dict[int, list[Row]] = {}
    at = top
    while at < len(lines):
        run = _run_from(lines, at, delimiter, least_numbers)
        at = run[-1].place + 1 if run else at + 1
        if run:
            rows = runs.setdefault(len(run[0].cells), [])
            rows.extend(run)
            if len(rows) >= SAMPLE_ROWS:
                break
    if not runs:
        return None
    table = max(runs.values(), key=len)
    decimal, wrong = _decimal_in(table)
    if wrong:
        table = [row._replace(kinds=[kind(cell, decimal) for cell in row.cells]) for row in table]
    score = sum(_WORTH[one] for row in table for one in row.kinds)
    return FirstRows(delimiter, decimal, table[0].place, table, score)


def _run_from(lines: list[str], at: int, delimiter: str, least_numbers: float) -> list[Row]:
    run: list[Row] = []
    for place in range(at, len(lines)):
        line = lines[place]
        if not line.strip(' \t",;|'):
            if run:
                continue
            break
        if delimiter not in line:
            break
        cells = cells_of(line, delimiter)
        if len(cells) < 2 or (run and len(cells) != len(run[0].cells)):
            break
        kinds = [kind(cell, "") for cell in cells]
        if not is_row(kinds, least_numbers):
            break
        run.append(Row(place, cells, kinds))
        if len(run) == SAMPLE_ROWS:
            break
    return run


def is_row(kinds: list[str], least_numbers: float = 0.5) -> bool:
    """Do cells of these kinds make a row of numbers: some, and more than that share of all that is not blank?"""
    words = kinds.count("word")
    numbers = len(kinds) - words - kinds.count("blank")
    return numbers > 0 and numbers > least_numbers * (numbers + words)


def _decimal_in(rows: list[Row]) -> tuple[str, bool]:
    """The decimal mark that most numbers of these rows have, and whether any has the other."""
    numbers = [cell for row in rows for cell, one in zip(row.cells, row.kinds, strict=True) if one == "number"]
    commas, points = sum("," in cell for cell in numbers), sum("." in cell for cell in numbers)
    return (",", points > 0) if commas > points else (".", commas > 0)


def decimal_of(best: FirstRows, body: bytes) -> str:
    """The decimal mark; where the first rows have only whole numbers, the mark that stands in later ones."""
    if best.delimiter == "," or best.decimal == ",":
        return best.decimal
    cells = [cell for row in best.rows for cell, one in zip(row.cells, row.kinds, strict=True) if one == "number"]
    if any("." in cell for cell in cells):
        return "."
    return "," if len(_LATER_COMMA.findall(body)) > len(_LATER_POINT.findall(body)) else "."
