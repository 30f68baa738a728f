"""What a reader of results should know besides the figures, in the customer's words: the cell's words ask for more."""

from pullbook.pages.results_shown import FlagLine
from pullbook.pages.results_voice import FIRST, Voice, catalogue
from pullbook.shop.comparing import Comparison

TOLD_ELSEWHERE = {"set_aside"}  # the table and its list of reasons say it


def flag_lines(comparison: Comparison, voice: Voice) -> tuple[FlagLine, ...]:
    """Each thing once, and in how many of the pulls that count it was seen; what holds for all of them first."""
    standing = [pull for setup in comparison.setups for pull in setup.standing]
    seen: dict[str, set[str]] = {}
    for flag in comparison.flags:
        seen.setdefault(_told(flag.code, flag.text, voice), set())
    for pull in standing:
        for flag in pull.flags:
            if flag.code not in TOLD_ELSEWHERE:
                seen.setdefault(_told(flag.code, flag.text, voice), set()).add(pull.facts.id)
    return tuple(FlagLine(text, len(pulls), len(standing)) for text, pulls in seen.items())


def _told(code: str, text: str, voice: Voice) -> str:
    key = f"flag.{code}"
    return voice.say(key) if key in catalogue(FIRST) else text
