"""What stands above the rows of numbers: names, units, and notes that are neither."""

import csv
from collections.abc import Iterator

from pullbook.runfile.cell_text import kind
from pullbook.runfile.first_rows import FirstRows, is_row
from pullbook.runfile.not_read import RunFileError
from pullbook.runfile.text_lines import COMMENT_MARKS, LARGEST_CELL, is_comment
from pullbook.runfile.unit_words import is_unit_row


def headings_above(
    lines: list[str], above: list[int], best: FirstRows
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
    if is_row([kind(cell, best.decimal) for cell in cells]):
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
            cells = next(csv.reader([f"{line}\n" for line in text.split("\n")], delimiter=delimiter), [])
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


def fitted_to(
    names: list[str], units: list[str], best: FirstRows, header_line: int | None
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
