"""Where the table is in a text file, how its cells are divided, and what stands above it."""

import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

from pullbook.runfile.cells import BLANK_WORDS, kind
from pullbook.runfile.refusals import RefusedFile, RunFileError
from pullbook.runfile.screening import DELIMITERS, LARGEST_COLUMNS
from pullbook.runfile.unit_words import is_unit_row

LARGEST_HEAD_LINES = 200
LARGEST_CELL = 4096
LARGEST_LINE = LARGEST_COLUMNS * LARGEST_CELL
COMMENT_MARKS = ("#", "//", "%", ";", "!", "'", "*")
_DELIMITER_BYTES = tuple(mark.encode() for mark in DELIMITERS)
# the comma last: it may be the decimal mark of a file divided by another
_TRIED = ";\t|,"
_LATER_COMMA = re.compile(rb"(?<![0-9,.:])[0-9]+,[0-9]+(?![0-9,.:])")
_LATER_POINT = re.compile(rb"(?<![0-9,.:])[0-9]+\.[0-9]+(?![0-9,.:])")
_SAMPLE_ROWS = 12
_WORTH = {"number": 1, "clock": 1, "blank": 0, "word": -2}


@dataclass(frozen=True)
class Layout:
    """How a file is laid out. `first_line` is the line of the first row of numbers, counted from 1; `first_byte` where
    it begins; `names` and `units` the headings as written (both as wide as a row); `kinds` 'number', 'clock' or 'word'
    for each column; `noise` the lines above the table that may come again between rows."""

    delimiter: str
    decimal: str
    first_line: int
    first_byte: int
    names: tuple[str, ...]
    units: tuple[str, ...]
    kinds: tuple[str, ...]
    header_line: int | None
    comments: tuple[str, ...]
    noise: tuple[bytes, ...]


class _Row(NamedTuple):
    place: int  # from 0
    cells: list[str]
    kinds: list[str]


@dataclass(frozen=True)
class _Candidate:
    delimiter: str
    decimal: str
    first: int
    rows: list[_Row]
    score: int

    @property
    def width(self) -> int:
        return len(self.rows[0].cells)

    @property
    def is_plain(self) -> bool:
        """A full sample without a word in it: no other way to divide the cells can be better."""
        return len(self.rows) >= _SAMPLE_ROWS and not any("word" in row.kinds for row in self.rows)


def find_layout(data: bytes) -> Layout:
    """The layout of UTF-8 text. Raises `RunFileError` or `RefusedFile` where there is no table to be found."""
    lines, starts = _head(data)
    declared = _declared_delimiter(lines[0])
    top = 0 if declared is None else 1
    best = _best_candidate(lines, top, declared)
    rows_start = best.first
    above = [number for number in range(top, rows_start) if lines[number].strip()]
    heading, unit_row, header_line, used = _headings(lines, above, best)
    names, units = _fitted(heading, unit_row, best, header_line)
    comments = tuple(lines[number].strip() for number in above if number not in used)
    return Layout(
        delimiter=best.delimiter,
        decimal=_decimal_of(best, data[starts[best.first] :]),
        first_line=rows_start + 1,
        first_byte=starts[rows_start],
        names=names,
        units=units,
        kinds=tuple(_column_kind(best, column) for column in range(best.width)),
        header_line=None if header_line is None else header_line + 1,
        comments=comments,
        noise=tuple(lines[number].strip().encode() for number in sorted(used)),
    )


def _declared_delimiter(line: str) -> str | None:
    """What a spreadsheet's first line `sep=;` says."""
    line = line.strip(' "')
    if line[:4].lower() != "sep=" or line[4:].strip(line[4:5]):
        return None
    if line[4:5] not in tuple(DELIMITERS):
        raise RunFileError("The first line names a separator that is none of comma, semicolon, tab and bar.", 1)
    return line[4]


def cells_of(line: str, delimiter: str) -> list[str]:
    """The cells of one line that stands alone."""
    if '"' not in line:
        return line.split(delimiter)
    try:
        return next(csv.reader([line], delimiter=delimiter), [])
    except csv.Error:
        return []


def is_comment(line: str, delimiter: str) -> bool:
    """Does a line begin with a mark of comments (one that is not the delimiter)? A first cell #N/A is no comment."""
    if line.split(delimiter, 1)[0].strip(' "').lower() in BLANK_WORDS:
        return False
    return line.lstrip(' "').startswith(tuple(mark for mark in COMMENT_MARKS if mark != delimiter))


def _head(data: bytes) -> tuple[list[str], list[int]]:
    """The lines in which the table must begin, without their ends, and where each begins."""
    lines: list[str] = []
    starts: list[int] = []
    at = 0
    while at < len(data) and len(lines) < LARGEST_HEAD_LINES + 2 * _SAMPLE_ROWS:
        end = data.find(b"\n", at, at + LARGEST_LINE)
        if end < 0:
            end = len(data)
            if end - at > LARGEST_LINE:
                raise RefusedFile(f"Line {len(lines) + 1} is longer than any line of a run file.")
        line = data[at:end]
        if len(line) >= LARGEST_COLUMNS and max(map(line.count, _DELIMITER_BYTES)) >= LARGEST_COLUMNS:
            raise RefusedFile(f"Line {len(lines) + 1} has more than {LARGEST_COLUMNS} columns, the most that are read.")
        lines.append(line.decode("utf-8").removesuffix("\r"))
        starts.append(at)
        at = end + 1
    return lines, starts


def _best_candidate(lines: list[str], top: int, declared: str | None) -> _Candidate:
    text = "\n".join(lines)
    for least_numbers in (0.5, 0.0):  # a table of mostly words is believed only where no table of numbers is found
        best: _Candidate | None = None
        for delimiter in declared or _TRIED:
            if delimiter not in text:
                continue
            one = _candidate(lines, top, delimiter, least_numbers)
            if one is not None and (best is None or one.score > best.score):
                best = one
            if best is not None and best.is_plain:
                return best
        if best is not None and best.first < LARGEST_HEAD_LINES:
            return best
    if len(lines) <= LARGEST_HEAD_LINES:
        raise RunFileError("There are no rows of numbers in this file: at least two columns of numbers are needed.")
    raise RunFileError(f"There is no table of numbers in the first {LARGEST_HEAD_LINES} lines.", LARGEST_HEAD_LINES)


def _candidate(lines: list[str], top: int, delimiter: str, least_numbers: float) -> _Candidate | None:
    """The table, if cells are divided like this: the rows of the width that most of the early rows have."""
    runs: dict[int, list[_Row]] = {}
    at = top
    while at < len(lines):
        run = _run_from(lines, at, delimiter, least_numbers)
        at = run[-1].place + 1 if run else at + 1
        if run:
            rows = runs.setdefault(len(run[0].cells), [])
            rows.extend(run)
            if len(rows) >= _SAMPLE_ROWS:
                break
    if not runs:
        return None
    table = max(runs.values(), key=len)
    decimal, wrong = _decimal_in(table)
    if wrong:
        table = [row._replace(kinds=[kind(cell, decimal) for cell in row.cells]) for row in table]
    score = sum(_WORTH[one] for row in table for one in row.kinds)
    return _Candidate(delimiter, decimal, table[0].place, table, score)


def _run_from(lines: list[str], at: int, delimiter: str, least_numbers: float) -> list[_Row]:
    run: list[_Row] = []
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
        if not _is_row(kinds, least_numbers):
            break
        run.append(_Row(place, cells, kinds))
        if len(run) == _SAMPLE_ROWS:
            break
    return run


def _is_row(kinds: list[str], least_numbers: float) -> bool:
    words = kinds.count("word")
    numbers = len(kinds) - words - kinds.count("blank")
    return numbers > 0 and numbers > least_numbers * (numbers + words)


def _decimal_in(rows: list[_Row]) -> tuple[str, bool]:
    """The decimal mark that most numbers of these rows have, and whether any has the other."""
    numbers = [cell for row in rows for cell, one in zip(row.cells, row.kinds, strict=True) if one == "number"]
    commas, points = sum("," in cell for cell in numbers), sum("." in cell for cell in numbers)
    return (",", points > 0) if commas > points else (".", commas > 0)


def _decimal_of(best: _Candidate, body: bytes) -> str:
    """The decimal mark; where the first rows have only whole numbers, the mark that stands in later ones."""
    if best.delimiter == "," or best.decimal == ",":
        return best.decimal
    cells = [cell for row in best.rows for cell, one in zip(row.cells, row.kinds, strict=True) if one == "number"]
    if any("." in cell for cell in cells):
        return "."
    return "," if len(_LATER_COMMA.findall(body)) > len(_LATER_POINT.findall(body)) else "."


def _column_kind(best: _Candidate, column: int) -> str:
    kinds = {row.kinds[column] for row in best.rows} - {"blank"}
    return kinds.pop() if len(kinds) == 1 else "number"


def _headings(
    lines: list[str], above: list[int], best: _Candidate
) -> tuple[list[str], list[str], int | None, set[int]]:
    """Names, units, the line of the names, and the lines that both took up."""
    records = [
        (taken, cells)
        for taken, cells in _records_upwards(lines, above, best.delimiter)
        if not is_comment(lines[taken[0]], best.delimiter) or len(_trimmed(cells)) == len(_trimmed(best.rows[0].cells))
    ]
    if not records or len(_trimmed(records[0][1])) < 2:
        return [], [], None, set()
    taken, cells = records[0]
    if is_unit_row(cells) and len(records) > 1 and len(_trimmed(records[1][1])) >= len(_trimmed(cells)):
        return records[1][1], cells, records[1][0][0], {*taken, *records[1][0]}
    if _is_row([kind(cell, best.decimal) for cell in cells], 0.5):
        raise RunFileError(
            f"Line {taken[0] + 1} has {len(cells)} cells where the rows below it have {best.width}.", taken[0] + 1
        )
    return cells, [], taken[0], set(taken)


def _records_upwards(lines: list[str], above: list[int], delimiter: str) -> Iterator[tuple[list[int], list[str]]]:
    """Records from the table upwards; a quoted heading may run over several lines."""
    at = len(above) - 1
    while at >= 0:
        taken = [above[at]]
        while sum(lines[number].count('"') for number in taken) % 2 and taken[0] - 1 in above and len(taken) < 40:
            taken.insert(0, taken[0] - 1)
        if sum(lines[number].count('"') for number in taken) % 2:
            taken = [above[at]]
        text = "\n".join(lines[number] for number in taken)
        if is_comment(text, delimiter):
            text = text.lstrip(' "').lstrip("".join(mark for mark in COMMENT_MARKS if mark != delimiter))
        try:
            cells = next(csv.reader(text.splitlines(keepends=True), delimiter=delimiter), [])
        except csv.Error:
            cells = []
        yield taken, [" ".join(cell.split()) for cell in cells]
        at -= len(taken)


def _trimmed(cells: list[str]) -> list[str]:
    """Without the blank cells at the end, which trailing delimiters leave."""
    end = len(cells)
    while end and not cells[end - 1].strip():
        end -= 1
    return cells[:end]


def _fitted(
    names: list[str], units: list[str], best: _Candidate, header_line: int | None
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Headings as wide as a row of the table. Raises where they cannot be."""
    if header_line is None:
        return tuple("" for _ in range(best.width)), tuple("" for _ in range(best.width))
    if max(map(len, (*names, *units))) > LARGEST_CELL:
        raise RunFileError(
            f"A heading in line {header_line + 1} is longer than {LARGEST_CELL} characters.", header_line + 1
        )
    had = len(_trimmed(names))
    spare = all(not cell.strip() for row in best.rows for cell in row.cells[had:])
    if had > best.width or not spare:
        doubt = ""
        if best.delimiter == "," and best.width == 2 * had:
            doubt = " If the numbers have decimal commas, commas cannot also divide the columns: use semicolons."
        line = best.first + 1
        reason = f"Line {line} has {best.width} cells where the heading in line {header_line + 1} has {had}.{doubt}"
        raise RunFileError(reason, line, min(had, best.width) + 1)
    padding = [""] * best.width
    return tuple((names + padding)[: best.width]), tuple((units + padding)[: best.width])
