"""Amending: what a results link showed when it was published, set against what the same reading gives now."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from pullbook.late_methods import dataclass
from pullbook.measure.curve import Figure
from pullbook.shop.comparing import Comparison, SetupRead
from pullbook.shop.heading import setup_peaks
from pullbook.shop.reading import ReadPull
from pullbook.shop.tracing import digest_of

# what of a pull stands behind a change, by the code of the reason
_BEHIND = {
    "calibration": "calibration_id",
    "weather": "weather_id",
    "channel_map": "channel_map_id",
    "set_aside": "set_aside",
    "setup": "setup_id",
}
WHY_WORDS = {
    "method": "the way of calculating was improved (method {was} to {now})",
    "calibration": "another calibration of the cell is in force for that time",
    "weather": "the weather reading was corrected, or a closer one was entered",
    "channel_map": "the file's columns are read by another channel map",
    "set_aside": "the shop set the pull aside",
    "counts_again": "the shop lets the pull count again",
    "setup": "the shop moved the pull to another setup",
    # what else the digest of the inputs covers: the car's engine, its gearing, how its file was taken apart
    "other": "what is on record about the car, its gearing or its file was corrected, or a file joined to it changed",
    "nothing": "nothing on record changed; the same records give another figure now",
}
FIGURES = {"peak_power_w": ("peak power", 1e-3, "kW"), "peak_torque_nm": ("peak torque", 1.0, "N·m")}


@dataclass(frozen=True, slots=True)
class Reason:
    """Why something is not as it was. `was`, `now`: ids or versions; `at`, `words`: from the record, where it says."""

    code: str  # a key of WHY_WORDS
    pull_id: str = ""
    was: str | None = None
    now: str | None = None
    at: datetime | None = None
    words: str = ""


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that is not as it was when the link was published."""

    what: str  # "Baseline, pull of 2026-03-03 14:02 UTC: peak power"
    was: str  # "182.4 kW at 6400 rev/min"
    now: str
    why: str  # "the weather reading was corrected, …"
    reasons: tuple[Reason, ...]
    key: str = ""  # peak_power_w, peak_torque_nm, set_aside, verdict, or empty: the figures stayed
    pull_id: str = ""
    setup_id: str = ""  # of a change to a whole setup, which names no pull
    was_value: float | None = None  # in W or N·m
    now_value: float | None = None


def published_of(comparison: Comparison) -> dict[str, Any]:
    """What a link stands for, in plain values: its digest is compared when somebody opens it."""
    return {
        "standard": comparison.standard,
        "window_s": comparison.window_s,
        "method_version": comparison.method_version,
        "pulls": {pull.facts.id: _pull(pull) for pull in comparison.pulls},
        "setups": {setup.setup_id: _setup(setup, comparison) for setup in comparison.setups},
        "verdicts": {one.later_id: one.verdict.kind for one in comparison.judged},
    }


def still_as(was: Mapping[str, Any], now: Mapping[str, Any]) -> bool:
    """Whether all that was published is the same now. What an older version did not put down is not asked after."""
    return digest_of(was) == digest_of(as_far_as(was, now))


def as_far_as(was: Mapping[str, Any], now: Mapping[str, Any]) -> dict[str, Any]:
    """Of what would be published now, as much as was put down then; of each pull likewise."""
    told = {name: now.get(name) for name in was}
    pulls = {
        pull_id: {name: one.get(name) for name in was["pulls"].get(pull_id, one)}
        for pull_id, one in now["pulls"].items()
    }
    return {**told, "pulls": pulls}


def _pull(pull: ReadPull) -> dict[str, Any]:
    headline = pull.curve.headline if pull.curve is not None else None
    return {
        "inputs": pull.digest,
        "calibration_id": pull.calibration.id if pull.calibration else None,
        "weather_id": pull.weather.id if pull.weather else None,
        "channel_map_id": pull.channel_map.id if pull.channel_map else None,
        "set_aside": pull.facts.set_aside_at is not None,
        "setup_id": pull.facts.setup_id,
        "peak_power_w": _figure(headline.peak_power_w) if headline else None,
        "peak_torque_nm": _figure(headline.peak_torque_nm) if headline else None,
    }


def _figure(figure: Figure) -> list[float]:
    """Rounded far below what is shown, so that another processor's last bit is no amendment."""
    return [round(figure.value, 3), round(figure.at_engine_speed_rpm, 3)]


def _setup(setup: SetupRead, comparison: Comparison) -> dict[str, Any]:
    peaks = setup_peaks(setup, comparison.engine_speed_rpm)
    pairs = {
        "peak_power_w": (peaks.power_w, peaks.power_rpm),
        "peak_torque_nm": (peaks.torque_nm, peaks.torque_rpm),
    }
    return {
        name: None if value is None or at_rpm is None else [round(value, 3), round(at_rpm, 3)]
        for name, (value, at_rpm) in pairs.items()
    }


def changes_between(was: Mapping[str, Any], now: Mapping[str, Any], comparison: Comparison) -> tuple[Change, ...]:
    """Every figure that moved and every pull that counts otherwise, with why as far as it can be told.

    Whole setups first, then their verdicts, then single pulls. `comparison`: what is shown now, for the names.
    """
    of_pulls: list[Change] = []
    reasons: dict[tuple[str, str], Reason] = {}
    now = {**now, "pulls": as_far_as(was, now)["pulls"]}
    for pull in comparison.pulls:
        then, here = was["pulls"].get(pull.facts.id), now["pulls"].get(pull.facts.id)
        if then is None or here is None:
            continue
        then, here = {**then, "method": was["method_version"]}, {**here, "method": now["method_version"]}
        if then == here:
            continue
        found = _reasons(pull.facts.id, then, here)
        moved = _of_pull(pull, then, here, found)
        if moved:
            reasons |= {(one.code, one.pull_id): one for one in found}
        of_pulls += moved
    behind = tuple(reasons.values())
    return (*_of_setups(was, now, comparison, behind), *of_pulls)


def _of_setups(
    was: Mapping[str, Any], now: Mapping[str, Any], comparison: Comparison, behind: tuple[Reason, ...]
) -> list[Change]:
    found, words = [], _words(behind)
    for setup in comparison.setups:
        then, here = was.get("setups", {}).get(setup.setup_id), now["setups"][setup.setup_id]
        if then is not None:
            found += _moved(setup.name, then, here, words, behind, setup_id=setup.setup_id)
    for setup in comparison.setups:
        kinds = [one.get("verdicts", {}).get(setup.setup_id) for one in (was, now)]
        if "verdicts" in was and kinds[0] != kinds[1]:
            told = [str(kind or "not judged").replace("_", " ") for kind in kinds]
            what = f"{setup.name}: verdict"
            found.append(Change(what, told[0], told[1], words, behind, "verdict", setup_id=setup.setup_id))
    return found


def _of_pull(
    pull: ReadPull, then: Mapping[str, Any], here: Mapping[str, Any], reasons: tuple[Reason, ...]
) -> list[Change]:
    called, why = called_pull(pull), _words(reasons)
    moved = _moved(called, then, here, why, reasons, pull_id=pull.facts.id)
    if then["set_aside"] != here["set_aside"]:
        words = ("counts", "is set aside")
        was, now = words[then["set_aside"]], words[here["set_aside"]]
        moved.append(Change(called, was, now, why, reasons, "set_aside", pull.facts.id))
    if not moved and reasons[0].code == "nothing":
        return []  # too little to be seen, and no reason for it
    stayed = Change(
        f"{called}: what it is read from", "as published", "amended, figures unchanged", why, reasons, "", pull.facts.id
    )
    return moved or [stayed]


def _moved(
    called: str,
    then: Mapping[str, Any],
    here: Mapping[str, Any],
    why: str,
    reasons: tuple[Reason, ...],
    pull_id: str = "",
    setup_id: str = "",
) -> list[Change]:
    found = []
    for key, (title, scale, unit) in FIGURES.items():
        if then[key] == here[key]:
            continue
        shown = [figure_words(values, scale, unit) for values in (then[key], here[key])]
        if shown[0] == shown[1]:
            continue  # a change below the last digit that anybody was shown is none
        was, now = (pair[0] if pair else None for pair in (then[key], here[key]))
        what = f"{called}: {title}"
        found.append(Change(what, shown[0], shown[1], why, reasons, key, pull_id, setup_id, was, now))
    return found


def figure_words(values: list[float] | None, scale: float, unit: str) -> str:
    """A published figure in words: 182.4 kW at 6400 rev/min."""
    return "no curve" if values is None else f"{values[0] * scale:.1f} {unit} at {values[1]:.0f} rev/min"


def called_pull(pull: ReadPull) -> str:
    """A pull by its setup and time, as staff are told."""
    return f"{pull.setup.name}, pull of {pull.facts.taken_at:%Y-%m-%d %H:%M} UTC"


def _words(reasons: tuple[Reason, ...]) -> str:
    each = (WHY_WORDS[one.code].format(was=one.was, now=one.now) for one in reasons)
    return "; ".join(dict.fromkeys(each))


def _reasons(pull_id: str, then: Mapping[str, Any], here: Mapping[str, Any]) -> tuple[Reason, ...]:
    found = []
    if then["method"] != here["method"]:
        found.append(Reason("method", "", then["method"], here["method"]))
    for code, key in _BEHIND.items():
        if then.get(key) != here.get(key):
            told = "counts_again" if code == "set_aside" and then[key] else code
            ids = (None, None) if code == "set_aside" else (then[key], here[key])
            found.append(Reason(told, pull_id, *ids))
    if not found:
        found.append(Reason("other" if then["inputs"] != here["inputs"] else "nothing", pull_id))
    return tuple(found)
