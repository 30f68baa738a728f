"""How a text file is laid out: where its table is, how its cells are divided, and what stands above it."""

from pullbook.late_methods import dataclass
from pullbook.runfile.first_rows import LARGEST_HEAD_LINES, SAMPLE_ROWS, FirstRows, decimal_of, find_first_rows
from pullbook.runfile.headings import fitted_to, headings_above
from pullbook.runfile.not_read import RunFileError
from pullbook.runfile.screening import DELIMITERS
from pullbook.runfile.text_lines import first_lines


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


def find_layout(data: bytes) -> Layout:
    """The layout of UTF-8 text. Raises `RunFileError` or `RefusedFile` where there is no table to be found."""
    lines, starts = first_lines(data, LARGEST_HEAD_LINES + 2 * SAMPLE_ROWS)
    declared = _declared_delimiter(lines[0])
    top = 0 if declared is None else 1
    best = find_first_rows(lines, top, declared)
    rows_start = best.first
    above = [number for number in range(top, rows_start) if lines[number].strip()]
    heading, unit_row, header_line, used = headings_above(lines, above, best)
    names, units = fitted_to(heading, unit_row, best, header_line)
    comments = tuple(lines[number].strip() for number in above if number not in used)
    return Layout(
        delimiter=best.delimiter,
        decimal=decimal_of(best, data[starts[best.first] :]),
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


def _column_kind(best: FirstRows, column: int) -> str:
    kinds = {row.kinds[column] for row in best.rows} - {"blank"}
    return kinds.pop() if len(kinds) == 1 else "number"
