"""Setups told apart in words: what to look at first, and the verdict on each against the first."""

from collections.abc import Mapping

from pullbook.measure.verdict import Verdict
from pullbook.pages.cell_shown import FirstWord
from pullbook.pages.verdict_shown import AsideLine, VerdictLine, VerdictPart
from pullbook.panels import letter
from pullbook.shop.comparing import Comparison, SetupRead
from pullbook.shop.flagging import BEFORE_ALL
from pullbook.shop.judging import Judged
from pullbook.shown_units import ShownUnits, plain_number
from pullbook.verdict_words import band_words, figure_words, kind_words, method_words, power_words, why_words

_CANCELS = {"calibration": "rollers and brake", "air": "the air’s instruments"}
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


def verdict_part(comparison: Comparison, units: ShownUnits) -> VerdictPart:
    """Each later setup against the first, what cancels between them, and the pulls that are in no mean."""
    places = {setup.setup_id: setup for setup in comparison.setups}
    aside = tuple(
        AsideLine(setup.place, pull.facts.id, pull.facts.taken_at, pull.facts.set_aside_reason or "")
        for setup in comparison.setups
        for pull in setup.pulls
        if pull.facts.set_aside_at is not None
    )
    lines = tuple(_line(one, places, comparison, units) for one in comparison.judged)
    return VerdictPart(lines, _without(comparison), _common(comparison) if lines else "", aside)


def _line(one: Judged, setups: Mapping[str, SetupRead], comparison: Comparison, units: ShownUnits) -> VerdictLine:
    found, first, later = one.verdict, setups[one.first_id], setups[one.later_id]
    letters = [letter(setups[setup_id].place) for setup_id in one.soaked]
    cautions = [f"Heat soak is suspected in {' and '.join(letters)}: let it cool and repeat first."] if letters else []
    if comparison.conditions:
        cautions.append("Not everything was the same: what stands above may explain this before any part does.")
    return VerdictLine(
        place=later.place,
        name=later.called,
        kind=found.kind,
        title=kind_words(found),
        figures=figure_words(found, units),
        over=f"Mean power less that of {letter(first.place)}, over {band_words(found)}, {comparison.standard_title}.",
        cautions=tuple(cautions) if found.kind in ("gain", "loss") else (),
        why=why_words(found),
        details=tuple(filter(None, (method_words(found), _scatters(first, later, found, units), power_words(found)))),
    )


def _scatters(first: SetupRead, later: SetupRead, found: Verdict, units: ShownUnits) -> str:
    """What pulls differ by when nothing was changed."""
    each = []
    for setup, scatter, mean in zip((first, later), found.scatters_w, found.means_w, strict=True):
        if scatter is not None:
            said = f"{units.text(scatter, 'power')} ({plain_number(100.0 * scatter / mean, 2)}\u00a0%)"
            each.append(f"{letter(setup.place)} {said}")
    return f"Scatter of single pulls (standard deviation): {', '.join(each)}." if each else ""


def _without(comparison: Comparison) -> str:
    """Why a setup has no verdict, where several are compared."""
    if len(comparison.setups) < 2:
        return ""
    missing = [letter(setup.place) for setup in comparison.setups if not setup.counted]
    if missing:
        return f"No verdict on {', '.join(missing)}: no pull that counts."
    if comparison.judgement.band_rpm is None:
        return "No verdict: these pulls share no engine speed to take a mean over."
    return ""


def _common(comparison: Comparison) -> str:
    """What the interval holds, and what it cannot."""
    own = [part for one in comparison.judged for part in one.own]
    not_shown = (
        "The interval holds what changes from pull to pull. It cannot hold what changes with the setup alone: straps, "
        "tyres, fuel, a controller that learns."
    )
    greatest = {part.words: max(same.u_pct for same in own if same.words == part.words) for part in own}
    each = "; ".join(f"{words}, {plain_number(u_pct, 2)}\u00a0%" for words, u_pct in greatest.items())
    stays = f"Not common to all, so it does not cancel and is within the interval (k = 1): {each}. " if each else ""
    common = [words for code, words in _CANCELS.items() if all(part.code != code for part in own)]
    drops = f"What {' and '.join(common)} may be off by is the same in every pull and cancels in a difference. "
    several = " Each verdict is sure by itself; of twenty parts that do nothing, one will seem to do something."
    return f"{drops if common else ''}{stays}{not_shown}{several if len(comparison.judged) > 1 else ''}"
