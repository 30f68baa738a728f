"""What one cell of text is: a number, a blank, a time of day, or a word."""

import re

_NUMBERS = {
    ".": re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"),
    ",": re.compile(r"[+-]?(?:[0-9]+,?[0-9]*|,[0-9]+)(?:[eE][+-]?[0-9]+)?"),
    "": re.compile(r"[+-]?(?:[0-9]+[.,]?[0-9]*|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?"),
}
_INFINITE = re.compile(r"[+-]?inf(?:inity)?", re.IGNORECASE)
_GROUPED = re.compile(r"[+-]?[0-9]{1,3}(?:[.,' \u00a0\u202f][0-9]{3})+(?:[.,][0-9]+)?")
_DOUBTFUL = re.compile(rb"[1-9][0-9]{0,2}(?:[,.][0-9]{3})+")
_MARKED = {
    ",": re.compile(rb"(?<![0-9.,:])[0-9]+(?:,[0-9]+)+(?![0-9.:])"),
    ".": re.compile(rb"(?<![0-9.,:])[0-9]+(?:\.[0-9]+)+(?![0-9,:])"),
    '","': re.compile(rb'(?<=")[0-9]+(?:,[0-9]+)+(?=")'),
}

# what loggers and spreadsheets write where there is no value, in lower case
BLANK_WORDS = frozenset(
    (
        *("", "-", "--", "---", "nan", "-nan", "na", "n/a", "n.a.", "#n/a", "#na", "#nv", "null", "none"),
        *("-nan(ind)", "1.#qnan", "1.#ind", "-1.#ind", "1.#inf", "-1.#inf", "#value!", "#wert!", "#div/0!", "∞", "-∞"),
    )
)
# the same as the fast reader must be told them, exact strings: the usual ones, which cost nothing, and all that are not
# odd; any other spelling goes to the careful reader
USUAL_BLANKS = ["", "NaN", "nan", "NAN"]
BLANK_SPELLINGS = sorted({spelled for word in BLANK_WORDS for spelled in (word, word.upper(), word.capitalize())}
                         | {"NaN", "-NaN"})  # fmt: skip

CLOCK = re.compile(
    r"(?:(?P<date>[0-9]{1,4}[-./][0-9]{1,2}[-./][0-9]{1,4})(?:T| +))?"
    r"(?P<hours>[0-9]{1,3}):(?P<minutes>[0-5][0-9]):(?P<seconds>[0-5][0-9]|60)"
    r"(?:[.,](?P<part>[0-9]+)|:(?P<milli>[0-9]{3}))?"
    r"(?: ?(?P<half>[aApP])\.?[mM]\.?)?(?:Z|[+-][0-9]{2}:?[0-9]{2})?"
)
SHORT_CLOCK = re.compile(r"(?P<minutes>[0-9]{1,2}):(?P<seconds>[0-5][0-9])[.,](?P<part>[0-9]+)")


def number(cell: str, decimal: str) -> float | None:
    """The number a cell holds (an infinity too), or None. Thousands marks are never taken for anything."""
    cell = cell.strip(" \t")
    if _NUMBERS[decimal].fullmatch(cell):
        return float(cell.replace(",", "."))
    return float(cell) if _INFINITE.fullmatch(cell) else None


def kind(cell: str, decimal: str) -> str:
    """'blank', 'number', 'clock' or 'word'; with "" for `decimal` either mark makes a number."""
    cell = cell.strip(" \t")
    if _NUMBERS[decimal].fullmatch(cell):
        return "number"
    if cell.lower() in BLANK_WORDS:
        return "blank"
    if ":" in cell and (CLOCK.fullmatch(cell) or SHORT_CLOCK.fullmatch(cell)):
        return "clock"
    return "number" if _INFINITE.fullmatch(cell) else "word"


def looks_numeric(cell: str) -> bool:
    """A number, if the other decimal mark or thousands marks were allowed?"""
    cell = cell.strip(" \t")
    return _NUMBERS[""].fullmatch(cell) is not None or _GROUPED.fullmatch(cell) is not None


def doubtful_mark(body: bytes, decimal: str, delimiter: str) -> str | None:
    """A number whose mark may be a decimal mark or a thousands mark, if every marked number is like that (1,234)."""
    if decimal == "." and delimiter == ",":
        return None
    shown = None
    for match in _MARKED['","' if decimal == delimiter else decimal].finditer(body):
        if not _DOUBTFUL.fullmatch(match[0]):
            return None
        shown = match[0].decode()
    return shown


def why_not_a_number(cell: str, decimal: str) -> str:
    """Plain words for a cell that should be a number and is none."""
    shown = cell if len(cell) <= 40 else cell[:37] + "…"
    if _GROUPED.fullmatch(cell.strip()):
        return f"'{shown}' looks like a number with thousands marks; those are not read, write it without"
    other = "." if decimal == "," else ","
    if number(cell, other) is not None:
        written = "commas" if decimal == "," else "points"
        return f"'{shown}' has a decimal '{other}' in a file whose numbers have decimal {written}"
    return f"'{shown}' is not a number"
