"""Flagging: what a reader should know of a pull besides its curve. Each text says what was seen, where, what to do."""

from collections.abc import Sequence

from pullbook.measure.curve import Curve, Flag
from pullbook.measure.limits import Checked
from pullbook.shop.limiting import limit_flags
from pullbook.shop.loading import Loaded

BEFORE_ALL = frozenset({"limit_passed", "lean_under_load"})  # stop pulling, then read on


def flags_of(
    loaded: Loaded, curve: Curve | None, standard: str, stale_minutes: int, limits: Sequence[Checked] = ()
) -> tuple[Flag, ...]:
    """What may harm the engine first, then filing and air, then the curve's other words; no code twice."""
    found = [
        *limit_flags(limits),
        *_set_aside(loaded),
        *_weather(loaded, standard, stale_minutes),
        *(curve.flags if curve is not None else ()),
    ]
    once = tuple({flag.code: flag for flag in reversed(found)}.values())[::-1]
    return tuple(sorted(once, key=lambda flag: flag.code not in BEFORE_ALL))


def _set_aside(loaded: Loaded) -> list[Flag]:
    if loaded.facts.set_aside_at is None:
        return []
    reason = loaded.facts.set_aside_reason
    return [Flag("set_aside", f"This pull was set aside and counts in no mean: {reason}")]


def _weather(loaded: Loaded, standard: str, stale_minutes: int) -> list[Flag]:
    weather = loaded.weather
    if standard == "observed" or weather is None:  # without a reading, the curve says so itself
        return []
    found = []
    if weather.age_minutes > stale_minutes:
        text = (
            f"The nearest weather reading of {loaded.cell.name} is {_span(weather.age_minutes)} from this pull; "
            f"more than {stale_minutes} min counts as stale. Enter a reading from the time of the pull if there is one."
        )
        found.append(Flag("weather_stale", text))
    if weather.doubt is not None:
        text = f"The weather reading used is questioned: {weather.doubt} A corrected reading takes its place."
        found.append(Flag("weather_doubt", text))
    return found


def _span(minutes: float) -> str:
    if minutes < 120:
        return f"{minutes:.0f} min"
    return f"{minutes / 60:.0f} h" if minutes < 60 * 48 else f"{minutes / 1440:.0f} days"
