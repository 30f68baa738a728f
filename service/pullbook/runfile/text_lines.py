"""Single lines of a text file: the first of them, how one is cut into cells, which is a comment."""

import csv

from pullbook.runfile.cell_text import BLANK_WORDS
from pullbook.runfile.not_read import RefusedFile
from pullbook.runfile.screening import DELIMITERS, LARGEST_COLUMNS

LARGEST_CELL = 4096
LARGEST_LINE = LARGEST_COLUMNS * LARGEST_CELL
COMMENT_MARKS = ("#", "//", "%", ";", "!", "'", "*")
_DELIMITER_BYTES = tuple(mark.encode() for mark in DELIMITERS)


def first_lines(data: bytes, most: int) -> tuple[list[str], list[int]]:
    """At most so many lines of UTF-8 text, without their ends, and where each begins. Raises `RefusedFile` at a cap."""
    lines: list[str] = []
    starts: list[int] = []
    at = 0
    while at < len(data) and len(lines) < most:
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
