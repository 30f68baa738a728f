"""Amending: what a results link showed when it was published, set against what the same reading gives now."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from pullbook.measure.curve import Figure
from pullbook.shop.comparing import Comparison
from pullbook.shop.reading import ReadPull

_WHY = {
    "method_version": "the way of calculating was improved (method {was} to {now})",
    "calibration_id": "another calibration of the cell is in force for that time",
    "weather_id": "the weather reading was corrected, or a closer one was entered",
    "channel_map_id": "the file's columns are read by another channel map",
    "set_aside": "the shop set the pull aside, or lets it count again",
}
# what else the digest of the inputs covers: the car's engine, its gearing, how its file was taken apart
_OTHER_INPUTS = "what is on record about the car, its gearing or its file was corrected, or a file joined to it changed"
_SAME_INPUTS = "nothing on record changed; the same records give another figure now"


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that is not as it was when the link was published."""

    what: str  # "Baseline, pull of 2026-03-03 14:02 UTC: peak power"
    was: str  # "182.4 kW"
    now: str
    why: str  # "the weather reading was corrected, …"
    pull_id: str = ""
    key: str = ""  # peak_power_w, peak_torque_nm, set_aside, or empty: the figures stayed
    was_value: float | None = None  # in W or N·m
    now_value: float | None = None


def published_of(comparison: Comparison) -> dict[str, Any]:
    """What a link stands for, in plain values: its digest is compared when somebody opens it."""
    return {
        "standard": comparison.standard,
        "window_s": comparison.window_s,
        "method_version": comparison.method_version,
        "pulls": {pull.facts.id: _pull(pull) for pull in comparison.pulls},
    }


def _pull(pull: ReadPull) -> dict[str, Any]:
    headline = pull.curve.headline if pull.curve is not None else None
    return {
        "inputs": pull.digest,
        "calibration_id": pull.calibration.id if pull.calibration else None,
        "weather_id": pull.weather.id if pull.weather else None,
        "channel_map_id": pull.channel_map.id if pull.channel_map else None,
        "set_aside": pull.facts.set_aside_at is not None,
        "peak_power_w": _figure(headline.peak_power_w) if headline else None,
        "peak_torque_nm": _figure(headline.peak_torque_nm) if headline else None,
    }


def _figure(figure: Figure) -> list[float]:
    """Rounded far below what is shown, so that another processor's last bit is no amendment."""
    return [round(figure.value, 3), round(figure.at_engine_speed_rpm, 3)]


def changes_between(was: Mapping[str, Any], now: Mapping[str, Any], comparison: Comparison) -> tuple[Change, ...]:
    """Every figure that moved and every pull that counts otherwise, with why as far as it can be told."""
    named = {pull.facts.id: _called(pull) for pull in comparison.pulls}
    found: list[Change] = []
    for pull_id, then in was["pulls"].items():
        here = now["pulls"].get(pull_id)
        if here is None or then == here:
            continue
        why = _why({**then, "method_version": was["method_version"]}, {**here, "method_version": now["method_version"]})
        called = named[pull_id]
        moved = _moved(called, then, here, why)
        if then["set_aside"] != here["set_aside"]:
            words = ("counts", "is set aside")
            moved.append(Change(called, words[then["set_aside"]], words[here["set_aside"]], why, key="set_aside"))
        if not moved and why == _SAME_INPUTS:
            continue  # too little to be seen, and no reason for it
        moved = moved or [Change(f"{called}: what it is read from", "as published", "amended, figures unchanged", why)]
        found += [replace(one, pull_id=pull_id) for one in moved]
    return tuple(found)


def _moved(called: str, then: Mapping[str, Any], here: Mapping[str, Any], why: str) -> list[Change]:
    found = []
    for key, title, scale, unit, places in (
        ("peak_power_w", "peak power", 1e-3, "kW", 1),
        ("peak_torque_nm", "peak torque", 1.0, "N·m", 1),
    ):
        if then[key] == here[key]:
            continue
        shown = [_shown(values, scale, unit, places) for values in (then[key], here[key])]
        if shown[0] == shown[1]:
            continue  # a change below the last digit that anybody was shown is none
        values = [pair[0] if pair else None for pair in (then[key], here[key])]
        found.append(Change(f"{called}: {title}", shown[0], shown[1], why, "", key, *values))
    return found


def _shown(values: list[float] | None, scale: float, unit: str, places: int) -> str:
    if values is None:
        return "no curve"
    return f"{values[0] * scale:.{places}f} {unit} at {values[1]:.0f} rev/min"


def _called(pull: ReadPull) -> str:
    return f"{pull.setup.name}, pull of {pull.facts.taken_at:%Y-%m-%d %H:%M} UTC"


def _why(then: Mapping[str, Any], here: Mapping[str, Any]) -> str:
    reasons = [words.format(was=then[key], now=here[key]) for key, words in _WHY.items() if then[key] != here[key]]
    if reasons:
        return "; ".join(reasons)
    return _OTHER_INPUTS if then["inputs"] != here["inputs"] else _SAME_INPUTS
