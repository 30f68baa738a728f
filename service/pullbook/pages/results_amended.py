"""What changed since results were published, as the shop would say it: why and when, then each figure, was and is."""

from collections.abc import Sequence

from pullbook.measure.correction import STANDARDS
from pullbook.pages.results_shown import Amended, MovedLine
from pullbook.pages.results_voice import Voice
from pullbook.panels import letter
from pullbook.shop.amending import Change, Reason
from pullbook.shop.comparing import Comparison
from pullbook.shop.reading import ReadPull
from pullbook.shop.superseding import Earlier

_TITLES = {"peak_power_w": ("power", "power"), "peak_torque_nm": ("torque", "torque")}


def amended(changes: Sequence[Change], comparison: Comparison, voice: Voice) -> Amended | None:
    """Everything that is not as published; None where all of it is."""
    if not changes:
        return None
    names = {one.setup_id: voice.say("setup", letter=letter(one.place), name=one.called) for one in comparison.setups}
    known = {pull.facts.id: pull for pull in comparison.pulls}
    of_setups = [_line(one, names[one.setup_id], None, voice) for one in changes if one.setup_id]
    of_pulls = [
        _line(one, names[known[one.pull_id].facts.setup_id], known[one.pull_id], voice)
        for one in changes
        if one.pull_id in known
    ]
    whys = (_why(reason, voice) for change in changes for reason in change.reasons)
    figures = tuple(line for line in of_setups if line is not None)
    pulls = tuple(line for line in of_pulls if line is not None)
    # links from before setups were put down know single pulls only
    return Amended(tuple(dict.fromkeys(whys)), figures or pulls, pulls if figures else ())


def earlier_lines(found: Earlier | None, voice: Voice) -> tuple[MovedLine, ...]:
    """The headline of the replaced results beside this one's, where they do not read the same."""
    if found is None:
        return ()
    lines = []
    for one in found.figures:
        title, dimension = _TITLES[one.key]
        setup = voice.say("setup", letter=letter(one.place), name=one.name)
        was, now = (_figure(value, dimension, voice) for value in (one.was_value, one.now_value))
        if was != now:
            lines.append(MovedLine(voice.say(f"amended.{title}", setup=setup), was, now))
    return tuple(lines)


def earlier_standard(found: Earlier) -> str:
    """The title of the standard that the replaced results were published under; empty for none."""
    return "" if found.standard == "observed" else STANDARDS[found.standard].title


def _line(change: Change, setup: str, pull: ReadPull | None, voice: Voice) -> MovedLine | None:
    """One change in words; None where nothing moved that the page shows, down to its last digit."""
    when = voice.moment(pull.facts.taken_at) if pull is not None else ""
    if change.key in _TITLES:
        title, dimension = _TITLES[change.key]
        what = voice.say(f"amended.{'pull_' if pull is not None else ''}{title}", setup=setup, when=when)
        was, now = (_figure(value, dimension, voice) for value in (change.was_value, change.now_value))
        return MovedLine(what, was, now) if was != now else None
    if change.key == "verdict":
        was, now = (voice.say(f"verdict.{told.replace(' ', '_')}") for told in (change.was, change.now))
        return MovedLine(voice.say("amended.verdict", setup=setup), was, now)
    if change.key == "set_aside":
        counts, aside = voice.say("amended.counts"), voice.say("amended.aside")
        ends = (counts, aside) if change.now == "is set aside" else (aside, counts)
        return MovedLine(voice.say("amended.pull", setup=setup, when=when), *ends)
    return None


def _figure(value: float | None, dimension: str, voice: Voice) -> str:
    return voice.say("amended.none") if value is None else voice.figure(value, dimension)


def _why(reason: Reason, voice: Voice) -> str:
    if reason.at is None:
        return voice.say(f"why.{reason.code}", was=reason.was, now=reason.now)
    return voice.say(f"why.{reason.code}_told", when=voice.moment(reason.at), words=reason.words)
