"""Wording what is looked for and where: one line of plain letters per ticket, and what typed words must meet in it.

Letters are looked up in threes. What is shorter is the beginning of a plate or of a name: these stand in the line
once more behind a mark, so that a mark and two letters are three again. A ticket's number stands between two signs.
"""

import re
from collections.abc import Callable, Iterable, Sequence
from functools import cached_property

from pullbook.late_methods import dataclass
from pullbook.shop.searching import plain

MARK = "|"
NUMBER = "#"
LEAST = 3  # letters that can be looked up
MOST_WORDS = 12
LONGEST_PLATE_PART = 4
_SPACES = re.compile(r"\s+")


@dataclass(frozen=True, slots=True)
class Told:
    """What is on record of one ticket, its customer and its car, as far as somebody may look for it."""

    number: int
    names: Sequence[str]  # looked up by their beginnings too
    plates: Sequence[str]
    codes: Sequence[str]  # VIN, telephone: spaces and signs do not matter
    words: Sequence[str]  # make, model, engine: found with and without their signs
    notes: Sequence[str]  # found as written


def clean(text: str) -> str:
    """Lower case without accents, on one line, free of the letters that mean something in a line."""
    line = _SPACES.sub(" ", plain(text).replace(MARK, " ").replace(NUMBER, " ")).strip()
    if line.isprintable():
        return line
    # what cannot be seen may have stood alone between two spaces, which are one then
    return " ".join("".join(letter for letter in line if letter.isprintable()).split())


def closed(text: str) -> str:
    """Letters and digits alone: a plate without its spaces and dashes."""
    return "".join(letter for letter in clean(text) if letter.isalnum())


def line_of(told: Told) -> str:
    """The line that a ticket is looked up in."""
    parts = [f"{NUMBER}{told.number}{NUMBER}"]
    for name in told.names:
        line = clean(name)
        parts += [line, *(f"{MARK}{MARK}{word[:2]}" for word in re.split(r"[\W_]+", line) if word)]
    for plate in map(closed, told.plates):
        parts += [plate, f"{MARK}{MARK}{plate[:2]}"] if plate else []
    parts += [closed(code) for code in told.codes]
    for text in told.words:
        line, close = clean(text), closed(text)
        parts += [line] if line == close else [line, close]
    parts += [clean(note) for note in told.notes]
    return " ".join(part for part in dict.fromkeys(parts) if part)


def setup_line(*texts: str) -> str:
    """What one setup, or a note beside a pull, adds to its ticket's line."""
    return " ".join(part for part in map(clean, texts) if part)


Quoted = Callable[[str], str]
Needles = tuple[str, ...]  # one of these must occur


@dataclass(frozen=True)
class Wanted:
    """What was typed: several ways to take it, each a row of words, each word with the forms it may stand in."""

    ways: tuple[tuple[Needles, ...], ...]

    def __bool__(self) -> bool:
        return bool(self.ways)

    def is_met_by(self, *lines: str) -> bool:
        """Whether these lines together hold every word, in one of the ways. A line's first word has a space before."""
        spaced = [f" {line}" for line in lines]
        return any(
            all(any(needle in line for needle in needles for line in spaced) for needles in words)
            for words in self.ways
        )

    @cached_property
    def fts5(self) -> str:
        """As a query over letters in threes, in the words of SQLite's full-text search."""
        return self._query(lambda three: '"' + three.replace('"', '""') + '"', " AND ", " OR ")

    @cached_property
    def tsquery(self) -> str:
        """The same in the words of PostgreSQL's."""
        return self._query(lambda three: "'" + three.replace("\\", "\\\\").replace("'", "''") + "'", " & ", " | ")

    def _query(self, quoted: Quoted, every: str, some: str) -> str:
        def needle(text: str) -> str:
            # side by side and the last: every hit is held against the text anyway, and each three costs its whole list
            starts = (*range(0, len(text) - LEAST, LEAST), len(text) - LEAST)
            threes = dict.fromkeys(text[at : at + LEAST] for at in starts)
            return f"({every.join(quoted(three) for three in threes)})"

        ways = (every.join(f"({some.join(map(needle, needles))})" for needles in words) for words in self.ways)
        return some.join(f"({way})" for way in ways)


def wanted(typed: str) -> Wanted:
    """What typed words ask for. Nothing typed, or nothing that could be looked up: nothing."""
    words = [word for word in _typed_words(typed) if word][:MOST_WORDS]
    among_others = any(len(word) >= LEAST for word in words)
    ways = [tuple(_needles(word, among_others=among_others) for word in words)] if words else []
    for joined in _joined(words):
        ways.append(tuple(_needles(word) for word in joined))
    whole = dict.fromkeys(way for way in ways if way and all(way))
    # what holds two long words as one holds each of them: looked up as well, it would cost as much again for nothing
    return Wanted(tuple(way for way in whole if not any(_is_within(other, way) for other in whole if other != way)))


def _is_within(words: tuple[Needles, ...], narrower: tuple[Needles, ...]) -> bool:
    """Whether whatever meets the narrower way meets these words too."""
    return all(
        any(all(any(one in longer for one in needles) for longer in others) for others in narrower) for needles in words
    )


def _typed_words(typed: str) -> Iterable[str]:
    for word in plain(typed).replace(MARK, " ").split():
        yield "".join(letter for letter in word if letter.isprintable())


def _needles(word: str, *, among_others: bool = False) -> Needles:
    """The forms that one word may stand in. Two letters among longer words may begin any word, not a name's alone."""
    if word.startswith(NUMBER) and word[1:].isdecimal():
        return (f"{NUMBER}{int(word[1:])}{NUMBER}",)
    word = word.replace(NUMBER, "")
    close = "".join(letter for letter in word if letter.isalnum())
    number = (f"{NUMBER}{int(word)}{NUMBER}",) if word.isdecimal() and len(word) < LEAST else ()
    if len(word) < LEAST:
        begins = (f" {close}",) if among_others and len(close) == LEAST - 1 else ()
        return (*((f"{MARK}{close}".rjust(LEAST, MARK),) if close else ()), *begins, *number)
    return (word, close) if close != word and len(close) > LEAST else (word,)


def _joined(words: Sequence[str]) -> Iterable[list[str]]:
    """Typed with spaces, kept without: everything as one word, and each run of short pieces with a digit among them."""
    if len(words) < 2:
        return
    yield ["".join(letter for word in words for letter in word if letter.isalnum())]
    runs: list[list[str]] = []
    for word in words:
        short = len(word) <= LONGEST_PLATE_PART
        if short and runs and len(runs[-1][-1]) <= LONGEST_PLATE_PART:
            runs[-1].append(word)
        else:
            runs.append([word])
    yield [word for run in runs for word in (["".join(run)] if any(map(str.isdigit, "".join(run))) else run)]
