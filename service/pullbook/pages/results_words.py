"""Before and after in plain sentences: what was measured, how far single pulls lay apart, and no more than that."""

from collections.abc import Sequence

from pullbook.measure.correction import Standard
from pullbook.pages.cell_shown import SetupSummary
from pullbook.panels import letter
from pullbook.shown_units import ShownUnits, plain_number


def sentences(found: tuple[SetupSummary, ...], units: ShownUnits, standard: Standard) -> tuple[str, ...]:
    """What was measured before, what after and the difference in one sentence; then how sure the difference is."""
    read = [one for one in found if one.peak_power_w is not None and one.peak_torque_nm is not None]
    empty = tuple(f"{_called(one)}: no pull that counts." for one in found if one not in read)
    if not read:
        return empty
    first, *later = read
    if not later:
        return (_alone(first, units, standard), *_observed(read, units), *empty)
    said = [_before_and_after(first, later[0], units, standard)]
    said += [_and_then(first, one, units) for one in later[1:]]
    said += [_how_sure(first, one) for one in later]
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


def _how_sure(first: SetupSummary, later: SetupSummary) -> str:
    """Whether the single pulls of the two lay apart or into each other."""
    one, other = letter(first.position), letter(later.position)
    spans: Sequence[float | None] = (first.low_power_w, first.high_power_w, later.low_power_w, later.high_power_w)
    low_a, high_a, low_b, high_b = (value or 0.0 for value in spans)
    if first.counted < 2 or later.counted < 2:
        return f"There is a single pull of {one} or of {other}, so how much of the difference is chance cannot be told."
    if low_b > high_a or high_b < low_a:
        side = "more" if low_b > high_a else "less"
        return f"Every pull with {other} gave {side} peak power than every pull with {one}."
    return f"Some pulls with {other} gave no more and no less than pulls with {one}: the difference may be chance."
