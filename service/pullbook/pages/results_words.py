"""Before and after in plain sentences: what was measured, how sure the difference is, and no more than that."""

from collections.abc import Sequence

from pullbook.measure.correction import Standard
from pullbook.pages.cell_shown import SetupSummary
from pullbook.panels import letter
from pullbook.shop.judging import Judged, Judgement, by_later
from pullbook.shown_units import ShownUnits, plain_number
from pullbook.verdict_words import band_words, interval_words, size_words

_NOT_ALIKE = (
    "Not everything was the same for all of them, and that may explain a difference before any part does: see how it "
    "was measured."
)


def sentences(
    found: tuple[SetupSummary, ...], units: ShownUnits, standard: Standard, judgement: Judgement, alike: bool
) -> tuple[str, ...]:
    """What was measured before, what after and the difference in one sentence; then how sure the difference is.

    `alike`: whether all conditions were; where not, that is said before any difference is called sure.
    """
    read = [one for one in found if one.peak_power_w is not None and one.peak_torque_nm is not None]
    empty = tuple(f"{_called(one)}: no pull that counts." for one in found if one not in read)
    if not read:
        return empty
    first, *later = read
    if not later:
        return (_alone(first, units, standard), *_observed(read, units), *empty)
    said = [_before_and_after(first, later[0], units, standard)]
    said += [_and_then(first, one, units) for one in later[1:]]
    said += [] if alike else [_NOT_ALIKE]
    judged = by_later(judgement)
    said += [_how_sure(first, one, judged.get(one.setup_id), units) for one in later]
    return (*said, *_observed(read, units), *empty)


def _observed(read: Sequence[SetupSummary], units: ShownUnits) -> tuple[str, ...]:
    """Power before the factor, of setups where the factor is not to be read alone; the flags say why."""
    each = [
        f"{units.text(one.observed_power_w, 'power')} at {speed(one.observed_power_rpm)} ({_called(one)})"
        for one in read
        if one.observed_power_w is not None
    ]
    return (f"As observed, before the factor, peak power was {'; '.join(each)}.",) if each else ()


def _called(one: SetupSummary) -> str:
    return f"{letter(one.position)}, {one.name}"


def _corrected(standard: Standard) -> str:
    if standard.identifier == "observed":
        return "as measured, without any correction for the air"
    return f"corrected to the reference air of {standard.title}"


def _figure(value: float | None, uncertainty: float | None, units: ShownUnits, dimension: str) -> str:
    return f"{units.text(value or 0.0, dimension)} ± {units.text(uncertainty or 0.0, dimension)}"


def _power(one: SetupSummary, units: ShownUnits) -> str:
    return _figure(one.peak_power_w, one.power_u_w, units, "power")


def _torque(one: SetupSummary, units: ShownUnits) -> str:
    return _figure(one.peak_torque_nm, one.torque_u_nm, units, "torque")


def _alone(one: SetupSummary, units: ShownUnits, standard: Standard) -> str:
    pulls = "one pull" if one.counted == 1 else f"the mean of {one.counted} pulls"
    return (
        f"The car gave {_power(one, units)} at {speed(one.peak_power_rpm)} and {_torque(one, units)} at "
        f"{speed(one.peak_torque_rpm)}, at the wheels, {_corrected(standard)} ({pulls})."
    )


def _before_and_after(first: SetupSummary, then: SetupSummary, units: ShownUnits, standard: Standard) -> str:
    return (
        f"Before ({_called(first)}) the car gave {_power(first, units)} at most, after ({_called(then)}) "
        f"{_power(then, units)}: {_difference(first, then, units)}, at the wheels, {_corrected(standard)}."
    )


def _and_then(first: SetupSummary, one: SetupSummary, units: ShownUnits) -> str:
    return f"With {_called(one)}, it gave {_power(one, units)}: {_difference(first, one, units)} than before."


def _difference(first: SetupSummary, then: SetupSummary, units: ShownUnits) -> str:
    """6.4 kW and 12.0 N·m more; or each with its own word where they go apart."""
    power = _more((then.peak_power_w or 0.0) - (first.peak_power_w or 0.0), units, "power")
    torque = _more((then.peak_torque_nm or 0.0) - (first.peak_torque_nm or 0.0), units, "torque")
    if power[1] == torque[1]:
        return f"{power[0]} and {torque[0]} {power[1]}"
    return f"{power[0]} {power[1]} and {torque[0]} {torque[1]}"


def _more(difference: float, units: ShownUnits, dimension: str) -> tuple[str, str]:
    return units.text(abs(difference), dimension), "more" if difference >= 0 else "less"


def speed(engine_speed_rpm: float | None) -> str:
    """An engine speed as people read it."""
    return f"{plain_number(engine_speed_rpm or 0.0)}\u00a0rev/min"


def _how_sure(first: SetupSummary, later: SetupSummary, judged: Judged | None, units: ShownUnits) -> str:
    """The verdict with its interval, as one says it across a counter."""
    one, other = letter(first.position), letter(later.position)
    if judged is None:
        return f"{one} and {other} share no engine speed over which they could be compared."
    found = judged.verdict
    if found.interval_w is None:
        return f"There is a single pull of {one} or of {other}, so how much of the difference is chance cannot be told."
    over = f"On average over {band_words(found)}"
    if found.kind in ("gain", "loss"):
        side = "more" if found.kind == "gain" else "less"
        size, sure = size_words(found, units)
        heat = " Part of it may be heat and not the change: see below." if judged.soaked else ""
        return (
            f"{over} the car gave {size} {side} with {other} than with {one}; with 95\u00a0% confidence it is from "
            f"{sure}.{heat}"
        )
    seen = f"the difference lies from {interval_words(found, units)} with 95\u00a0% confidence"
    if found.kind == "no_difference":
        return f"{over}, {other} makes no difference larger than {found.worth_pct:g}\u00a0% to {one}: {seen}."
    return f"{over}, too few pulls tell {other} from {one}: {seen}, and may be none."
