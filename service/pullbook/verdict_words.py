"""A verdict in words, in the shop's units: for the API, the comparison's page and the customer's alike."""

from pullbook.measure.detecting import MOST_FURTHER
from pullbook.measure.verdict import Verdict
from pullbook.shown_units import ShownUnits, plain_number

SPACE = "\u00a0"


def kind_words(one: Verdict) -> str:
    """The verdict itself: one of four."""
    return {
        "gain": "Gain",
        "loss": "Loss",
        "no_difference": f"No difference larger than {one.worth_pct:g}{SPACE}%",
        "not_enough_pulls": "Not enough pulls",
    }[one.kind]


def figure_words(one: Verdict, units: ShownUnits) -> str:
    """The difference with its interval, in watts as the shop shows them and in per cent of the first setup."""
    share = _per_cent([one.difference_pct], share_decimals(one))
    said = f"{units.text(one.difference_w, 'power', power_decimals(one, units))} ({share})"
    if one.interval_w is None:
        return said
    shares = "" if one.interval_pct is None else f" ({_per_cent(list(one.interval_pct), share_decimals(one))})"
    return f"{said}, 95{SPACE}% interval {interval_words(one, units)}{shares}"


def interval_words(one: Verdict, units: ShownUnits) -> str:
    """The interval in the shop's unit of power; empty where there is none."""
    if one.interval_w is None:
        return ""
    low, high = (plain_number(units.number(value, "power"), power_decimals(one, units)) for value in one.interval_w)
    return f"{low} to {high}{SPACE}{units.label('power')}"


def band_words(one: Verdict) -> str:
    """3 000 to 6 000 rev/min."""
    return f"{plain_number(one.band_rpm[0])} to {plain_number(one.band_rpm[1])}{SPACE}rev/min"


def verdict_text(one: Verdict, units: ShownUnits, standard_title: str) -> str:
    """All of it in one line: verdict, difference, interval, band, standard."""
    return f"{kind_words(one)}: {figure_words(one, units)}, mean over {band_words(one)}, {standard_title}."


def why_words(one: Verdict) -> str:
    """What the interval says, where the verdict alone would leave it open."""
    worth = f"{one.worth_pct:g}{SPACE}%"
    if min(one.counts) < 2:
        return "One pull of a setup has no scatter: how much of this is chance cannot be told. Pull again."
    if one.kind == "not_enough_pulls":
        return f"The interval holds no difference at all as well as one of more than {worth}: nothing can be claimed."
    if one.kind == "no_difference":
        return f"Neither a gain nor a loss can be claimed, and either of more than {worth} can be ruled out."
    reach = one.interval_pct and max(abs(end) for end in one.interval_pct)
    if reach is not None and reach < one.worth_pct:
        return f"It is there, and it is less than the {worth} that is said to matter."
    return ""


def method_words(one: Verdict) -> str:
    """How many pulls, and what was made of their order."""
    first, later = one.counts
    counted = f"{first} pull{'s' * (first != 1)} against {later}"
    if one.method == "paired":
        return f"{counted}, taken in turn: a steady drift from pull to pull is taken out; one that bends is not."
    if min(one.counts) < 2:
        return f"{counted}."
    return (
        f"{counted}, each setup with its own scatter (Welch). No drift is taken out – that needs three of each, taken "
        "in turn – so one between the setups would look like a difference."
    )


def power_words(one: Verdict) -> str:
    """What so many pulls can show, and how many more 1 % would take; empty where nothing is known of the scatter."""
    if one.smallest_shown_pct is None:
        return ""
    places = 2 if one.smallest_shown_pct < 0.1 else 1
    shown = (
        f"So many pulls show a difference of {plain_number(one.smallest_shown_pct, places)}{SPACE}% nine times in ten"
    )
    if one.pulls_for_1_pct == 0:
        return f"{shown}."
    if one.pulls_for_1_pct is None:
        return f"{shown}; for 1{SPACE}%, {MOST_FURTHER} more of each would not do."
    return f"{shown}; 1{SPACE}% takes {one.pulls_for_1_pct} more of each setup."


def power_decimals(one: Verdict, units: ShownUnits) -> int:
    """As usual; more where the interval is so narrow that its ends would be rounded by a good part of its width."""
    ends = [units.number(value, "power") for value in one.interval_w or ()]
    return _fine_enough(ends, units.decimals("power"))


def share_decimals(one: Verdict) -> int:
    """As usual for a share in per cent; more by the same rule."""
    return _fine_enough(list(one.interval_pct or ()), 1)


def _fine_enough(ends: list[float], usual: int) -> int:
    """Decimals that round off no more than a tenth of an interval, three more than usual at most; one more where an
    end would be printed as 0 that is none."""
    width = max(ends, default=0.0) - min(ends, default=0.0)
    if width <= 0.0:
        return usual
    places = next((usual + more for more in range(3) if 10.0 ** -(usual + more) <= 0.2 * width), usual + 3)
    vanishes = any(0.0 < abs(end) < 0.5 * 10.0**-places for end in ends)
    return min(places + vanishes, usual + 3)


def _per_cent(values: list[float], decimals: int) -> str:
    return f"{' to '.join(plain_number(value, decimals) for value in values)}{SPACE}%"
