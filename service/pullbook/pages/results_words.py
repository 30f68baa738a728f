"""Before and after in plain sentences: what was measured, how far single pulls lay apart, and no more than that."""

from pullbook.pages.cell_shown import SetupSummary
from pullbook.panels import letter
from pullbook.shown_units import ShownUnits, plain_number


def sentences(found: tuple[SetupSummary, ...], units: ShownUnits) -> tuple[str, ...]:
    """One sentence for each setup, then one for each later setup against the first."""
    said = [_one(summary, units) for summary in found]
    if len(found) > 1 and found[0].peak_power_w is not None:
        said += [_against(found[0], later, units) for later in found[1:] if later.peak_power_w is not None]
    return tuple(said)


def _one(summary: SetupSummary, units: ShownUnits) -> str:
    name = f"{letter(summary.position)}, {summary.name}"
    if summary.peak_power_w is None or summary.peak_torque_nm is None:
        return f"{name}: no pull that counts."
    pulls = "one pull" if summary.counted == 1 else f"the mean of {summary.counted} pulls"
    return (
        f"{name}: {units.text(summary.peak_power_w, 'power')} at {_speed(summary.peak_power_rpm)} and "
        f"{units.text(summary.peak_torque_nm, 'torque')} at {_speed(summary.peak_torque_rpm)}, {pulls}."
    )


def _speed(engine_speed_rpm: float | None) -> str:
    return f"{plain_number(engine_speed_rpm or 0.0)}\u00a0rev/min"


def _against(first: SetupSummary, later: SetupSummary, units: ShownUnits) -> str:
    """The difference of the peaks, and whether the single pulls of the two lay apart or into each other."""
    difference = (later.peak_power_w or 0.0) - (first.peak_power_w or 0.0)
    more = "more" if difference >= 0 else "less"
    said = (
        f"Peak power with {letter(later.position)} is {units.text(abs(difference), 'power')} {more} "
        f"than with {letter(first.position)}."
    )
    spans = (first.low_power_w, first.high_power_w, later.low_power_w, later.high_power_w)
    if None in spans:
        return said
    low_a, high_a, low_b, high_b = (float(value) for value in spans if value is not None)
    if first.counted < 2 or later.counted < 2:
        return f"{said} With a single pull on one side, how much of that is chance cannot be told."
    if low_b > high_a or high_b < low_a:
        side = "above" if difference > 0 else "below"
        return f"{said} Every pull with {letter(later.position)} lay {side} every pull with {letter(first.position)}."
    return f"{said} The single pulls of the two overlap, so a difference this small may be chance."
