"""Flagging: what a reader should know of a pull besides its curve. Each text says what was seen, where, what to do."""

from collections.abc import Sequence

import numpy as np

from pullbook.measure.curve import Curve, Flag
from pullbook.measure.limits import Checked
from pullbook.shop.limiting import limit_flags
from pullbook.shop.loading import Loaded

COLDER_C = 8.0  # no intake, iced ones apart, is so much colder than the air around the car; common practice
ABOVE_KPA = 4.0  # a sensor's tolerance, and what pulses in the manifold add
BEFORE_ALL = frozenset({"limit_passed", "lean_under_load"})  # stop pulling, then read on


def flags_of(
    loaded: Loaded, curve: Curve | None, standard: str, stale_minutes: int, limits: Sequence[Checked] = ()
) -> tuple[Flag, ...]:
    """What may harm the engine first, then filing and air, then the curve's other words; no code twice."""
    found = [
        *limit_flags(limits),
        *_set_aside(loaded),
        *_weather(loaded, standard, stale_minutes),
        *(_air_against_car(loaded, curve) if curve is not None and standard != "observed" else ()),
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


def _air_against_car(loaded: Loaded, curve: Curve) -> list[Flag]:
    """What the car's own sensors say against the air that the pull is corrected by."""
    air, channels, grid = curve.air, curve.channels, curve.engine_speed_rpm
    if air is None:
        return []
    intake, manifold = channels.get("intake_temperature_c"), channels.get("manifold_pressure_kpa")
    told = []
    if intake is not None:
        warmest = np.fmax.reduce(intake)
        if warmest < air.temperature_c - COLDER_C:
            told.append(
                f"the intake air is {warmest:.0f} °C at the most, colder than the {air.temperature_c:.0f} °C of the "
                "cell's reading"
            )
    if manifold is not None and loaded.ticket.vehicle.aspiration == "natural":
        most = np.fmax.reduce(manifold)
        if most > air.pressure_kpa + ABOVE_KPA:
            at = grid[int(np.nanargmax(manifold))]
            told.append(
                f"manifold pressure reaches {most:.1f} kPa at {at:.0f} rev/min, above the {air.pressure_kpa:.1f} kPa "
                "of the cell's barometer, in an engine without a charger"
            )
    if not told:
        return []
    text = (
        f"The air read in the cell and the car's own sensors do not agree: {', and '.join(told)}. One of them is "
        "wrong: read the cell's thermometer and barometer again, and enter what they say for this time."
    )
    return [Flag("weather_against_car", text)]


def _span(minutes: float) -> str:
    if minutes < 120:
        return f"{minutes:.0f} min"
    return f"{minutes / 60:.0f} h" if minutes < 60 * 48 else f"{minutes / 1440:.0f} days"
