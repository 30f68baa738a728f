"""Delimited text, as loggers and spreadsheets really write it → `RawRun`."""

import numpy as np
from numpy.typing import NDArray

from pullbook.runfile.bulk import check_lines
from pullbook.runfile.cell_text import doubtful_mark
from pullbook.runfile.decoding import as_utf8
from pullbook.runfile.layout import Layout, find_layout
from pullbook.runfile.not_read import RefusedFile, RunFileError
from pullbook.runfile.raw_run import Header, RawRun
from pullbook.runfile.screening import screen
from pullbook.runfile.table_rows import ReadTable, read_table
from pullbook.runfile.unit_words import split_heading

READER = "delimited-1"  # stored beside a column block: which reader made it

__all__ = ["READER", "Header", "RawRun", "RefusedFile", "RunFileError", "read_delimited", "screen"]

_DELIMITER_NAMES = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
_LONGEST_NOTE = 4_000


def read_delimited(data: bytes) -> RawRun:
    """Read a whole file.

    Raises `RefusedFile` for what is no delimited text or beyond a cap (512 columns, 4 kB a cell, 2 million rows,
    200 lines before the table), `RunFileError` for delimited text with a fault; never anything else.
    """
    screen(data[:65_536], len(data))
    text, encoding = as_utf8(data)
    layout = find_layout(text)
    body = text[layout.first_byte :]
    check_lines(body, layout)
    _refuse_doubtful_marks(body, layout)
    table = read_table(body, layout)
    headers, values = _assembled(table, layout)
    found = {
        "encoding": encoding,
        "delimiter": _DELIMITER_NAMES.get(layout.delimiter, layout.delimiter),
        "decimal": "comma" if layout.decimal == "," else "point",
        "header line": str(layout.header_line) if layout.header_line else "none: columns are numbered",
        **table.notes,
    }
    if layout.comments:
        found["comments"] = "\n".join(layout.comments)
    if not body.endswith((b"\n", b"\r")):
        found["last line"] = "has no line end: if the logger was cut off, its last figure may be too"
    return RawRun(headers, values, {what: words[:_LONGEST_NOTE] for what, words in found.items()}, READER)


def _assembled(read: ReadTable, layout: Layout) -> tuple[tuple[Header, ...], NDArray[np.float64]]:
    """Headings and the table, without rows and unnamed columns that hold nothing; blanks and infinities counted."""
    table = np.empty((len(read.columns), len(read.columns[0])))
    for place, column in enumerate(read.columns):
        table[place] = column
    named = list(range(len(read.columns)))
    finite = np.isfinite(table)
    if not finite.all():
        infinite = np.isinf(table)
        if infinite.any():
            table[infinite] = np.nan
            read.note("infinite values, left blank", str(int(infinite.sum())))
        full_rows = finite.any(axis=0)
        named = [place for place in named if layout.names[place] or finite[place].any()]
        if not full_rows.all():
            read.note("rows without any number, left out", str(int((~full_rows).sum())))
        table = table[named][:, full_rows]
        numeric = [place for place in named if read.kinds[place] != "word"]
        blanks = int((~(finite | infinite))[numeric][:, full_rows].sum())
        if blanks:
            read.note("blank cells", str(blanks))
    if not table.shape[1]:
        raise RunFileError("There is a heading and no row of numbers below it.", layout.header_line)
    return _unique_headers(layout, read.kinds, named), table


def _unique_headers(layout: Layout, kinds: list[str], named: list[int]) -> tuple[Header, ...]:
    taken: set[str] = set()
    headers = []
    for place in named:
        name = text = layout.names[place] or f"column {place + 1}"
        count = 1
        while text in taken:
            count += 1
            text = f"{name} #{count}"
        taken.add(text)
        unit = layout.units[place].strip().strip("[]()<>").strip() or split_heading(name)[1]
        headers.append(Header(text, "s" if kinds[place] == "clock" else unit))
    return tuple(headers)


def _refuse_doubtful_marks(body: bytes, layout: Layout) -> None:
    """Figures like 1,234 throughout may be thousands or thousandths; nobody is to guess which."""
    shown = doubtful_mark(body, layout.decimal, layout.delimiter)
    if shown is not None:
        mark = "comma" if layout.decimal == "," else "point"
        raise RunFileError(
            f"Every {mark} stands before just three figures, as in {shown}: that may be a decimal mark or a thousands "
            "mark, and which cannot be told. Write the numbers with another count of decimals.",
            layout.first_line,
        )
