"""Setups told apart in words: what to look at first, and each against the first with the scatter beside it."""

from pullbook.pages.cell_shown import DifferenceLine, FirstWord
from pullbook.panels import letter
from pullbook.shop.comparing import Comparison
from pullbook.shop.differing import Difference, MeanPower
from pullbook.shop.flagging import BEFORE_ALL
from pullbook.shown_units import ShownUnits, plain_number

_SAID_ELSEWHERE = frozenset({"factor_outside_limits", "no_weather"})  # of the comparison as a whole


def first_words(comparison: Comparison) -> tuple[FirstWord, ...]:
    """Each kind of flag once a setup, from its standing pulls; what may harm an engine before the rest."""
    found: list[tuple[bool, FirstWord]] = []
    for setup in comparison.setups:
        by_code: dict[str, list[str]] = {}
        for pull in setup.standing:
            for flag in pull.flags:
                if flag.code not in _SAID_ELSEWHERE:
                    by_code.setdefault(flag.code, []).append(flag.text)
        for code, texts in by_code.items():
            found.append((code not in BEFORE_ALL, FirstWord(setup.place, texts[0], len(texts) - 1)))
    return tuple(word for _, word in sorted(found, key=lambda one: one[0]))


def difference_lines(comparison: Comparison, units: ShownUnits) -> tuple[DifferenceLine, ...]:
    """Each later setup less the first, in the shop's unit of power."""
    setups = {setup.setup_id: setup for setup in comparison.setups}
    return tuple(
        DifferenceLine(
            place=setups[one.later_id].place,
            name=setups[one.later_id].called,
            difference=_signed(units.number(one.difference_w, "power"), units.decimals("power"), units.label("power")),
            share=_signed(100.0 * one.difference_w / one.first.mean_w, 1, "%"),
            band=f"{plain_number(one.band_rpm[0])} to {plain_number(one.band_rpm[1])} rev/min",
            scatter="; ".join(
                _scatter(letter(setups[setup_id].place), power, units)
                for setup_id, power in ((one.first_id, one.first), (one.later_id, one.later))
            ),
            words=_words(one),
        )
        for one in comparison.differences
    )


def _signed(value: float, decimals: int, unit: str) -> str:
    size = plain_number(abs(value), decimals)
    sign = "" if not set(size) & set("123456789") else "+" if value > 0 else "−"
    return f"{sign}{size}\u00a0{unit}"


def _scatter(mark: str, power: MeanPower, units: ShownUnits) -> str:
    if power.scatter_w is None:
        return f"{mark} one pull, so unknown"
    return f"{mark} {units.text(power.scatter_w, 'power')} ({power.counted} pulls)"


def _words(one: Difference) -> str:
    if one.scatter_w is None:
        return "How much of this is chance cannot be told from a single pull. Pull again."
    if one.within_scatter:
        return "Within twice the scatter of single pulls: neither a gain nor a loss can be claimed from these."
    more = "more" if one.difference_w > 0 else "less"
    times = f", {abs(one.difference_w) / one.scatter_w:.0f} times the scatter of single pulls" if one.scatter_w else ""
    return f"Mean power is {more}{times}. Read what stands first before it is put down to a part."
