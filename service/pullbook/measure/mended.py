"""What had to be mended in a recording before it could be read, in words: how much, where, and what to do about it."""

from collections.abc import Mapping

import numpy as np

from pullbook.measure.curveparts import Array, Flag

_TIME_WORDS = {
    "blank_stamps": "blank",
    "repeated_stamps": "repeated",
    "backward_stamps": "backward",
}
_SPEED_WORDS = {
    "roller_speed_blanks": "blank",
    "roller_speed_spikes": "wild",
    "pulse_counter_resets": "where the pulse counter was set back or leapt",
}
_MOST_NAMED = 3


def mended_flags(counts: Mapping[str, int], mended_s: Mapping[str, Array]) -> list[Flag]:
    """The flags of a mended time base and roller speed.

    `counts`: how many, by what; `mended_s`: when, by the same names, in s by the recording's own clock (for a stamp
    that cannot be trusted, the last good one before it).
    """
    flags = []
    dropped = _told(_TIME_WORDS, counts, mended_s)
    gaps = counts.get("time_gaps", 0)
    if dropped or gaps:
        parts = [f"rows were dropped whose time stamps were {' and '.join(dropped)}"] if dropped else []
        if gaps:
            one = "1 gap in time was bridged or, where long, ends" if gaps == 1 else f"{gaps} gaps in time were bridged"
            parts.append(f"{one}{'' if gaps == 1 else ' or, where long, end'} the sweep{_where(mended_s, 'time_gaps')}")
        text = f"The time base was repaired: {'; '.join(parts)}. Check the logger if this keeps happening."
        flags.append(Flag("time_repaired", text))
    speed = _told(_SPEED_WORDS, counts, mended_s)
    if speed:
        whole = sum(counts.get(name, 0) for name in _SPEED_WORDS)
        text = (
            f"Roller speed was mended in {whole} sample{'' if whole == 1 else 's'} from those around: "
            f"{'; '.join(speed)}. Check the roller's pick-up."
        )
        flags.append(Flag("roller_speed_mended", text))
    return flags


def _told(words: Mapping[str, str], counts: Mapping[str, int], mended_s: Mapping[str, Array]) -> list[str]:
    return [
        f"{word} ({counts[name]}{_where(mended_s, name)})" if name in mended_s else f"{word} ({counts[name]})"
        for name, word in words.items()
        if counts.get(name)
    ]


def _where(mended_s: Mapping[str, Array], name: str) -> str:
    """At which moments where they are few, else between which; nothing where none is known."""
    known = mended_s.get(name, np.zeros(0))
    known = np.sort(known[np.isfinite(known)])
    when = list(dict.fromkeys(f"{at:.2f}" for at in known.tolist()))
    if not when:
        return ""
    if len(when) > 1 and len(known) > _MOST_NAMED:
        return f", between {when[0]} and {when[-1]} s"
    return f", at {' and '.join([', '.join(when[:-1]), when[-1]] if len(when) > 1 else when)} s"
