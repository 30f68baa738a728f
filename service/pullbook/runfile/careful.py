"""The careful way through the rows of a table: one by one, so that a fault has a line, a column and a reason."""

import csv
import io

from pullbook.late_methods import dataclass
from pullbook.runfile.cell_text import kind, looks_numeric, number, why_not_a_number
from pullbook.runfile.layout import Layout
from pullbook.runfile.not_read import RunFileError
from pullbook.runfile.text_lines import LARGEST_CELL, is_comment

CUT_SHORT = "a last row cut short"


@dataclass(frozen=True)
class CarefulRows:
    """What was read: the rows' cells, each as wide as the heading; `lines` where each row stands in the file;
    `left_out` in words what was passed over and how often."""

    rows: list[list[str]]
    lines: list[int]
    left_out: dict[str, int]


def read_rows(body: str, layout: Layout) -> CarefulRows:
    """Every row of the table, with repeated headings and comment lines between rows left out.

    A row longer or shorter than the heading raises `RunFileError`; only the last row may be short, as when a logger
    was switched off while it wrote: it is left out and counted.
    """
    width = len(layout.names)
    kept: list[list[str]] = []
    lines: list[int] = []
    left_out: dict[str, int] = {}
    cut: tuple[int, int] | None = None
    for line, cells in _records(body, layout):
        if cut is not None:
            raise RunFileError(f"Line {cut[0]} has {cut[1]} cells where the heading has {width}.", cut[0], cut[1] + 1)
        noise = _noise(cells, layout)
        if noise:
            left_out[noise] = left_out.get(noise, 0) + 1
            continue
        if any(cell.strip() for cell in cells[width:]):
            raise RunFileError(f"Line {line} has {len(cells)} cells where the heading has {width}.", line, width + 1)
        needed = width
        while needed and not layout.names[needed - 1] and not layout.units[needed - 1]:
            needed -= 1
        if len(cells) < (needed or width):
            cut = (line, len(cells))
            continue
        kept.append((cells + [""] * width)[:width])
        lines.append(line)
    if cut is not None:
        left_out[CUT_SHORT] = 1
    return CarefulRows(kept, lines, left_out)


def column_kind(cells: list[str], decimal: str) -> str:
    """'number', 'clock' or 'word': what most of a column's cells are that are not blank. Figures that cannot be read as
    they are written count as numbers, so that they are refused and not passed over."""
    counts = {"number": 0, "clock": 0, "word": 0, "blank": 0}
    for cell in cells:
        one = kind(cell, decimal)
        counts["number" if one == "word" and looks_numeric(cell) else one] += 1
    del counts["blank"]
    best = max(counts, key=lambda one: counts[one])
    return best if counts[best] else "number"


def column_numbers(careful: CarefulRows, place: int, layout: Layout, strict: bool) -> tuple[list[float], int]:
    """A column as numbers (NaN for blanks) and how many words stood in it. `strict`: no word may; a cell with a figure
    in it that is no number raises `RunFileError` in any case."""
    found: list[float] = []
    words = 0
    for line, cells in zip(careful.lines, careful.rows, strict=True):
        cell = cells[place]
        value = number(cell, layout.decimal)
        if value is None and kind(cell, layout.decimal) != "blank":
            if strict or any(character.isdigit() for character in cell):
                name = layout.names[place] or f"number {place + 1}"
                reason = why_not_a_number(cell.strip(), layout.decimal)
                raise RunFileError(f"Line {line}, column '{name}': {reason}.", line, place + 1)
            words += 1
        found.append(float("nan") if value is None else value)
    return found, words


def _records(body: str, layout: Layout) -> list[tuple[int, list[str]]]:
    records: list[tuple[int, list[str]]] = []
    reader = csv.reader(io.StringIO(body, newline=""), delimiter=layout.delimiter)
    before = 0
    try:
        for cells in reader:
            line, before = layout.first_line + before, reader.line_num
            if layout.first_line + before - line > 1:
                raise _unclosed(line)
            if any(len(cell) > LARGEST_CELL for cell in cells):
                raise RunFileError(f"A cell in line {line} is longer than {LARGEST_CELL} characters.", line)
            if any(cell.strip() for cell in cells):
                records.append((line, cells))
    except csv.Error:
        raise _unclosed(layout.first_line + before) from None
    return records


def _unclosed(line: int) -> RunFileError:
    return RunFileError(f"A quotation mark opened in line {line} is not closed in that line.", line)


def _noise(cells: list[str], layout: Layout) -> str:
    text = layout.delimiter.join(cells).strip()
    if text.encode() in layout.noise or [" ".join(cell.split()) for cell in cells[: len(layout.names)]] in (
        list(layout.names),
        list(layout.units) if any(layout.units) else None,
    ):
        return "repeated headings"
    return "comments between rows" if is_comment(text, layout.delimiter) else ""
