"""Finding a record by what people say of it: one normalised text per record, looked at for every word."""

import unicodedata
from typing import Any

from sqlalchemy import ColumnElement, or_

# Letters that Unicode takes for letters of their own, without an accent to part with, as they are typed without them.
# ß is left to casefolding, which makes ss of it. A change here asks for a migration that does the same to what is kept.
UNADORNED = {
    "ł": "l", "ø": "o", "đ": "d", "ð": "d", "ħ": "h", "ı": "i", "ŋ": "n", "ŧ": "t", "ƶ": "z",
    "æ": "ae", "œ": "oe", "þ": "th", "ĳ": "ij",
}  # fmt: skip
_UNADORNED = str.maketrans(UNADORNED)


def plain(text: str) -> str:
    """Lower case without accents: what is compared when somebody types."""
    if text.isascii():
        return text.lower()
    parted = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", text).casefold())
    return "".join(letter for letter in parted if not unicodedata.combining(letter)).translate(_UNADORNED)


def findable(*texts: object) -> str:
    """One line to search in: every text, and once more without spaces and signs where that differs (plates, phones)."""
    words: list[str] = []
    for text in texts:
        if text in (None, ""):
            continue
        line = plain(str(text))
        words.append(line)
        close = "".join(letter for letter in line if letter.isalnum())
        if close and close != line:
            words.append(close)
    return " ".join(words)


def spellings(word: str) -> tuple[str, ...]:
    """What one typed word may be written as on record: as typed, without signs, and a number without its leading 0."""
    close = "".join(letter for letter in word if letter.isalnum())
    ways = [word, close] if close else [word]
    if close.isdecimal() and len(close) >= 4:
        ways.append(close.lstrip("0"))  # 0660 is the +43 660 of the record
    return tuple(dict.fromkeys(way for way in ways if way))


def occurs(word: str, *columns: Any) -> ColumnElement[bool]:
    """That this word, however it is spelt, occurs in one of these; `%` and `_` are letters like any other."""
    return or_(*(column.contains(way, autoescape=True) for column in columns for way in spellings(word)))


def holds(column: Any, find: str) -> list[ColumnElement[bool]]:
    """Conditions that every word typed occurs in this normalised column."""
    return [occurs(word, column) for word in plain(find).split()]
