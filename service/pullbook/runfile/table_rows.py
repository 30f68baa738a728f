"""The rows of a table → numbers by column, the fast way where that will do, else the careful one."""

import re
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pullbook.late_methods import dataclass
from pullbook.runfile.bulk import read_in_bulk
from pullbook.runfile.careful import CUT_SHORT, column_kind, column_numbers, read_rows
from pullbook.runfile.cell_text import BLANK_SPELLINGS, USUAL_BLANKS, looks_numeric
from pullbook.runfile.clock_times import NotAClockError, clock_seconds
from pullbook.runfile.layout import Layout
from pullbook.runfile.not_read import RunFileError
from pullbook.runfile.text_lines import is_comment
from pullbook.runfile.unit_words import split_heading

_SPECIAL = {"clock": "clock times", "word": "columns of words"}
_STRETCH = 262_144  # bytes
_LONGEST_CAREFUL = 16 * 1024 * 1024  # bytes; some four seconds and a few hundred MB


@dataclass
class ReadTable:
    """Every column of the file as numbers, what kind each was, and notes on what was found."""

    columns: list[NDArray[np.float64]]
    kinds: list[str]
    notes: dict[str, str]

    def note(self, what: str, which: str) -> None:
        self.notes[what] = f"{self.notes[what]}, {which}" if what in self.notes else which


def read_table(body: bytes, layout: Layout) -> ReadTable:
    """In bulk if it can be, else in bulk with every blank word and without lines that are no rows, else carefully.

    Raises `RunFileError` that names line and column. A long body is not read carefully as a whole before the first
    stretch that cannot be read in bulk has been, and never where that would take minutes and gigabytes.
    """
    table = _in_bulk(body, layout, {}, USUAL_BLANKS)
    if table is None:
        table = _in_bulk(*_without_noise(body, layout), BLANK_SPELLINGS)
    if table is not None:
        return table
    if len(body) > 4 * _STRETCH:
        stretch, line = _first_odd_stretch(body, layout)
        _carefully(stretch, replace(layout, first_line=line))
        if len(body) > _LONGEST_CAREFUL:
            last = line + stretch.count(b"\n")
            reason = f"Between lines {line} and {last} some rows are not like those before"
            raise RunFileError(f"{reason}, and so long a file is read only where all are alike.", line)
    return _carefully(body, layout)


def _in_bulk(body: bytes, layout: Layout, notes: dict[str, str], blanks: list[str]) -> ReadTable | None:
    bulk = read_in_bulk(body, layout, blanks)
    if bulk is None:
        return None
    table = ReadTable([], list(layout.kinds), notes)
    return table if all(_took(table, column, layout, place) for place, column in enumerate(bulk)) else None


def _first_odd_stretch(body: bytes, layout: Layout) -> tuple[bytes, int]:
    """The first stretch of lines that cannot be read in bulk, and the line of the file in which it begins."""
    at, line = 0, layout.first_line
    while True:
        end = body.find(b"\n", at + _STRETCH) + 1
        stretch = body[at:end] if end else body[at:]
        rows, _, notes = _without_noise(stretch, layout)
        if not end or CUT_SHORT in notes or _in_bulk(rows, layout, notes, BLANK_SPELLINGS) is None:
            return stretch, line
        at, line = end, line + stretch.count(b"\n")


def _took(table: ReadTable, column: NDArray[np.float64] | NDArray[np.object_], layout: Layout, place: int) -> bool:
    """Take a column read in bulk; False if it is not throughout of the kind that its first rows are."""
    kind = layout.kinds[place]
    if kind == "number":
        table.columns.append(column.astype(np.float64, copy=False))
        return True
    if kind == "clock":
        try:
            table.columns.append(clock_seconds(column.tolist()))
        except NotAClockError:
            return False
    elif any(isinstance(cell, str) and looks_numeric(cell) for cell in column):
        return False
    else:
        table.columns.append(np.full(len(column), np.nan))
    table.note(_SPECIAL[kind], layout.names[place] or f"column {place + 1}")
    return True


def _carefully(body: bytes, layout: Layout) -> ReadTable:
    careful = read_rows(body.decode("utf-8"), layout)
    table = ReadTable([], [], {what: f"{count} left out" for what, count in careful.left_out.items()})
    for place, name in enumerate(layout.names):
        cells = [row[place] for row in careful.rows]
        kind = column_kind(cells, layout.decimal)
        shown = name or f"column {place + 1}"
        table.kinds.append(kind)
        if kind == "number":
            strict = bool(layout.units[place] or split_heading(name)[1])
            numbers, words = column_numbers(careful, place, layout, strict)
            table.columns.append(np.array(numbers, dtype=np.float64))
            if words:
                table.note("words among numbers, left blank", f"{shown} ({words})")
            continue
        table.note(_SPECIAL[kind], shown)
        try:
            table.columns.append(clock_seconds(cells) if kind == "clock" else np.full(len(cells), np.nan))
        except NotAClockError as fault:
            line = careful.lines[fault.row]
            raise RunFileError(f"Line {line}, column '{shown}': {fault}.", line, place + 1) from None
    return table


def _without_noise(body: bytes, layout: Layout) -> tuple[bytes, Layout, dict[str, str]]:
    """The body without repeated headings, comments between rows, padding and a last row cut short; notes on those."""
    lines = body.rstrip().split(b"\n")
    repeats = {line for line in layout.noise if line}
    kept = [line for line in lines if line.strip() not in repeats]
    rows = [line for line in kept if not is_comment(line[:40].decode("utf-8", "replace"), layout.delimiter)]
    counts = {"repeated headings": len(lines) - len(kept), "comments between rows": len(kept) - len(rows)}
    delimiter = layout.delimiter.encode()
    if len(rows) > 1 and b'"' not in rows[-1] and rows[-1].count(delimiter) < rows[0].count(delimiter):
        rows.pop()
        counts[CUT_SHORT] = 1
    cleaned = b"\n".join(rows)
    if b" " in cleaned:  # the fast reader knows blank words only without the spaces that some loggers pad cells with
        mark = re.escape(delimiter)
        cleaned = re.sub(rb"(?<=" + mark + rb") +| +(?=" + mark + rb"|\r?\n|$)", b"", cleaned)
    return cleaned, layout, {what: f"{count} left out" for what, count in counts.items() if count}
