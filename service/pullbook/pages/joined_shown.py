"""Other loggers' files beside a pull: where each lies on the pull's clock, how well, and what it gives."""

from collections.abc import Mapping

import numpy as np
from sqlalchemy.orm import Session

from pullbook.late_methods import dataclass
from pullbook.measure.alignment import ClockOffset
from pullbook.measure.resampling import laid_on
from pullbook.overlay_svg import NARROW, WIDE, panels_svg
from pullbook.panels import Line, Panel
from pullbook.runfile.channel_map import QUANTITY_TITLES
from pullbook.shop.facts import Floats, JoinedFacts
from pullbook.shop.joining import JoinedRead, found_in
from pullbook.shop.reading import ReadPull
from pullbook.shown_units import plain_number

_POINTS = 400  # more than that no screen shows
_LINES = 40
_AROUND_S = 1.0  # of the other log before and after the pull, so that one sees where it goes on


@dataclass(frozen=True)
class JoinedLine:
    """One joined file."""

    facts: JoinedFacts
    letter: str
    found: tuple[tuple[str, str], ...]  # what reading it came upon
    gives: str  # what it gives to the pull, in words; empty where nothing
    failure: str
    offset: str  # what is added to its time, with where that is from; empty where nothing is
    offset_typed: str  # as it is put into the field; empty where found by matching
    fit: str  # how well both engine speeds lie over each other
    found_instead: str  # what matching found, where the offset is set by hand and another
    wide_svg: str
    narrow_svg: str
    rows: tuple[tuple[str, str, str, str], ...]  # time, both engine speeds, their difference: the drawing in numbers


@dataclass(frozen=True)
class JoinedShown:
    """The section of other loggers' files."""

    lines: tuple[JoinedLine, ...]


def joined_shown(session: Session, pull: ReadPull) -> JoinedShown:
    """Every file joined to the pull."""
    found = found_in(session, [one.facts.sha256 for one in pull.joined])
    numbered = enumerate(pull.joined, start=1)
    return JoinedShown(tuple(_line(one, f"J{number}", found.get(one.facts.sha256, {})) for number, one in numbered))


def _line(one: JoinedRead, letter: str, found_words: Mapping[str, str]) -> JoinedLine:
    facts, found = one.facts, one.found
    by_hand = facts.offset_s is not None
    offset_s = facts.offset_s if facts.offset_s is not None else (found.offset_s if found else None)
    panels, grid = _both_speeds(one, offset_s, letter)
    said = f"Engine speed of the pull and of {facts.file_name} over the pull's time"
    return JoinedLine(
        facts=facts,
        letter=letter,
        found=tuple(found_words.items()),
        gives=", ".join(QUANTITY_TITLES[name] for name in one.gives),
        failure=one.failure or "",
        offset=_offset_words(offset_s, found, by_hand),
        offset_typed=f"{facts.offset_s:g}" if facts.offset_s is not None else "",
        fit=_fit_words(found),
        found_instead=_found_instead(found) if by_hand else "",
        wide_svg=panels_svg(panels, grid, WIDE, said),
        narrow_svg=panels_svg(panels, grid, NARROW, said),
        rows=_rows(panels, grid),
    )


def _offset_words(offset_s: float | None, found: ClockOffset | None, by_hand: bool) -> str:
    if offset_s is None:
        return ""
    if by_hand:
        return f"{_signed(offset_s)} s added to its time, set by hand"
    within = "" if found is None or found.u_s is None else f" ± {plain_number(2.0 * found.u_s, 3)} s (k = 2)"
    return f"{_signed(offset_s)} s{within} added to its time, found by engine speed"


def _fit_words(found: ClockOffset | None) -> str:
    if found is None or found.residual_rpm is None:
        return ""
    share = plain_number(100.0 * found.matched_share, 0)
    return (
        f"the engine speeds differ by {plain_number(found.residual_rpm, 0)} rev/min (rms); {share} % of the shorter "
        "recording lies beside the other"
    )


def _found_instead(found: ClockOffset | None) -> str:
    if found is None or found.offset_s is None:
        return ""
    return f"Matching engine speeds finds {_signed(found.offset_s)} s."


def _signed(seconds: float) -> str:
    return f"{'−' if seconds < 0 else '+'}{plain_number(abs(seconds), 3)}"


def _rows(panels: tuple[Panel, ...], grid: Floats) -> tuple[tuple[str, str, str, str], ...]:
    """The drawing in numbers, as many lines as anybody reads."""
    if not panels:
        return ()
    own, other = (line.values for line in panels[0].lines)
    return tuple(
        (plain_number(float(grid[at]), 2), _speed(own[at]), _speed(other[at]), _speed(other[at] - own[at]))
        for at in range(0, len(grid), len(grid) // _LINES)
    )


def _speed(value: float) -> str:
    return plain_number(float(value)) if np.isfinite(value) else "–"


def _both_speeds(one: JoinedRead, offset_s: float | None, letter: str) -> tuple[tuple[Panel, ...], Floats]:
    """Both engine speeds over the pull's time; nothing where one is missing."""
    nothing: tuple[tuple[Panel, ...], Floats] = ((), np.empty(0))
    if offset_s is None or one.pull_speed is None or "engine_speed_rpm" not in one.channels:
        return nothing
    time, turning = one.pull_speed
    stamps = time[np.isfinite(time)]
    if stamps.size < 2:
        return nothing
    grid = np.linspace(float(stamps.min()) - _AROUND_S, float(stamps.max()) + _AROUND_S, _POINTS)
    other = laid_on(grid, one.channels["time_s"] + offset_s, one.channels["engine_speed_rpm"])
    lines = (
        Line("P", "a", "mean", "the pull's own file", laid_on(grid, time, turning)),
        Line(letter, "b", "mean", one.facts.file_name, other),
    )
    note = f"P this pull, {letter} the log"
    return (Panel("engine_speed_rpm", "Engine speed", "rev/min", 0, lines, note, axis="time"),), grid
