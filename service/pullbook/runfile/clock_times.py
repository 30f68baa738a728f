"""A column of clock times → seconds, each the nearest double to the written decimal."""

import re
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pullbook.runfile.cell_text import BLANK_WORDS, CLOCK, SHORT_CLOCK

DAY_S, HOUR_S = 86_400, 3_600


class NotAClockError(ValueError):
    """A cell of a clock column is none; `row` counts from 0."""

    def __init__(self, row: int, cell: str, why: str = "is not a time like 10:04:05.250") -> None:
        super().__init__(f"'{cell[:40]}' {why}")
        self.row = row


def clock_seconds(cells: Sequence[object]) -> NDArray[np.float64]:
    """Times hh:mm:ss[.fff], with or without a date before them, or mm:ss.fff → seconds from midnight of the first
    row's day (or from its full hour); NaN for a blank cell.

    A step back by more than half the clock's round is midnight (or the full hour) passing; a smaller one stays as it
    is. A date says nothing more, because a pull lasts no day: it may change only where midnight passes. Built as the
    decimal text of the whole seconds, so that 00:00:12.345 gives the very bits of 12.345.
    """
    seconds = np.full(len(cells), np.nan)
    rounds, last, date = 0, None, None
    for row, given in enumerate(cells):
        cell = given.strip(" \t") if isinstance(given, str) else ""
        if cell.lower() in BLANK_WORDS:
            continue
        match = CLOCK.fullmatch(cell)
        full = match is not None
        if match is None and (match := SHORT_CLOCK.fullmatch(cell)) is None:
            raise NotAClockError(row, cell)
        whole, part = _whole_seconds(match, full)
        period = DAY_S if full else HOUR_S
        passed = last is not None and whole + period / 2 < last
        if full and match["date"] != date:
            if date is not None and not passed:
                raise NotAClockError(row, cell, "changes the date where no midnight passes")
            date = match["date"]
        rounds += passed
        last = whole
        seconds[row] = float(f"{whole + rounds * period}.{part or '0'}")
    return seconds


def _whole_seconds(match: re.Match[str], full: bool) -> tuple[int, str | None]:
    whole = int(match["minutes"]) * 60 + int(match["seconds"])
    if not full:
        return whole, match["part"]
    hours = int(match["hours"])
    if match["half"]:
        hours = hours % 12 + (12 if match["half"] in "pP" else 0)
    return whole + hours * HOUR_S, match["part"] or match["milli"]
