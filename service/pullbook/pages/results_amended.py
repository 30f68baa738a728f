"""What changed since results were published, as the shop would say it: the reason, then each figure, was and is."""

from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from pullbook.pages.results_shown import Amendment
from pullbook.panels import letter
from pullbook.shop.amending import Change
from pullbook.shop.reading import ReadPull
from pullbook.shown_units import ShownUnits

_TITLES = {"peak_power_w": ("peak power", "power"), "peak_torque_nm": ("peak torque", "torque")}


def amendments(
    changes: Sequence[Change], pulls: Sequence[ReadPull], units: ShownUnits, zone: ZoneInfo
) -> tuple[Amendment, ...]:
    """Changes by their reason, in the order they are found."""
    known = {pull.facts.id: pull for pull in pulls}
    by_reason: dict[str, list[str]] = {}
    for change in changes:
        lines = by_reason.setdefault(change.why, [])
        moved = _moved(change, units)
        if moved:
            pull = known.get(change.pull_id)
            lines.append(f"{_called(pull, zone) if pull is not None else change.what}: {moved}.")
    return tuple(Amendment(_sentence(why, bool(lines)), tuple(lines)) for why, lines in by_reason.items())


def _sentence(why: str, has_moved: bool) -> str:
    return f"{why[:1].upper()}{why[1:]}.{'' if has_moved else ' No figure shown here changed with it.'}"


def _called(pull: ReadPull, zone: ZoneInfo) -> str:
    return f"{letter(pull.facts.setup_position)}, {pull.setup.name}, pull of {_clock(pull.facts.taken_at, zone)}"


def _clock(at: datetime, zone: ZoneInfo) -> str:
    return at.astimezone(zone).strftime("%-d %B, %H:%M")


def _moved(change: Change, units: ShownUnits) -> str:
    """What is and what was; empty where nothing changed that the page shows, down to its last digit."""
    if change.key in _TITLES:
        title, dimension = _TITLES[change.key]
        now, was = (_text(value, units, dimension) for value in (change.now_value, change.was_value))
        return f"{title} is {now}, was {was}" if now != was else ""
    if change.key == "set_aside":
        return "it no longer counts" if change.now == "is set aside" else "it counts again"
    return ""


def _text(value: float | None, units: ShownUnits, dimension: str) -> str:
    return "not readable" if value is None else units.text(value, dimension)
