"""Finding a record by what people say of it: one normalised text per record, looked at for every word."""

import unicodedata
from typing import Any

from sqlalchemy import ColumnElement


def plain(text: str) -> str:
    """Lower case without accents: what is compared when somebody types."""
    parted = unicodedata.normalize("NFKD", text.casefold())
    return "".join(letter for letter in parted if not unicodedata.combining(letter))


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


def holds(column: Any, find: str) -> list[ColumnElement[bool]]:
    """Conditions that every word typed occurs in this normalised column; `%` and `_` are letters like any other."""
    return [column.contains(word, autoescape=True) for word in plain(find).split()]
