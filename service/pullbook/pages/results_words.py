"""Before and after in plain sentences: what was measured, how sure the difference is, and no more than that."""

from collections.abc import Sequence

from pullbook.measure.correction import Standard
from pullbook.measure.verdict import Verdict
from pullbook.pages.cell_shown import SetupSummary
from pullbook.pages.results_voice import NO_BREAK, Voice
from pullbook.panels import letter
from pullbook.shop.judging import Judged, Judgement, by_later
from pullbook.verdict_words import power_decimals, share_decimals


def sentences(
    found: tuple[SetupSummary, ...], voice: Voice, standard: Standard, judgement: Judgement, alike: bool
) -> tuple[str, ...]:
    """What was measured before, what after and the difference in one sentence; then how sure the difference is.

    `alike`: whether all conditions were; where not, that is said before any difference is called sure.
    """
    read = [one for one in found if one.peak_power_w is not None and one.peak_torque_nm is not None]
    empty = tuple(voice.say("said.empty", setup=called(one, voice)) for one in found if one not in read)
    if not read:
        return empty
    first, *later = read
    if not later:
        return (_alone(first, voice, standard), *_observed(read, voice), *empty)
    said = [_before_and_after(first, later[0], voice, standard)]
    said += [_and_then(first, one, voice) for one in later[1:]]
    said += [] if alike else [voice.say("said.not_alike")]
    judged = by_later(judgement)
    said += [_how_sure(first, one, judged.get(one.setup_id), voice) for one in later]
    return (*said, *_observed(read, voice), *empty)


def called(one: SetupSummary, voice: Voice) -> str:
    """A setup by letter and name."""
    return voice.say("setup", letter=letter(one.position), name=one.name)


def band(low_rpm: float, high_rpm: float, voice: Voice) -> str:
    """A stretch of engine speed with its unit."""
    return voice.say("band", low=voice.number(low_rpm), high=voice.number(high_rpm))


def _observed(read: Sequence[SetupSummary], voice: Voice) -> tuple[str, ...]:
    """Power before the factor, of setups where the factor is not to be read alone; the flags say why."""
    each = [
        voice.say(
            "said.observed_each",
            power=voice.power(one.observed_power_w),
            speed=voice.speed(one.observed_power_rpm),
            setup=called(one, voice),
        )
        for one in read
        if one.observed_power_w is not None
    ]
    return (voice.say("said.observed", each="; ".join(each)),) if each else ()


def _power(one: SetupSummary, voice: Voice) -> str:
    return f"{voice.power(one.peak_power_w)} ± {voice.power(one.power_u_w)}"


def _torque(one: SetupSummary, voice: Voice) -> str:
    return f"{voice.torque(one.peak_torque_nm)} ± {voice.torque(one.torque_u_nm)}"


def _by_standard(key: str, standard: Standard) -> str:
    return f"{key}_observed" if standard.identifier == "observed" else key


def _alone(one: SetupSummary, voice: Voice, standard: Standard) -> str:
    return voice.say(
        _by_standard("said.alone_one" if one.counted == 1 else "said.alone_many", standard),
        power=_power(one, voice),
        power_speed=voice.speed(one.peak_power_rpm),
        torque=_torque(one, voice),
        torque_speed=voice.speed(one.peak_torque_rpm),
        standard=standard.title,
        count=one.counted,
    )


def _before_and_after(first: SetupSummary, later: SetupSummary, voice: Voice, standard: Standard) -> str:
    way, apart = _apart(first, later, voice)
    return voice.say(
        _by_standard(f"said.{way}", standard),
        first=called(first, voice),
        power=_power(first, voice),
        later=called(later, voice),
        later_power=_power(later, voice),
        standard=standard.title,
        **apart,
    )


def _and_then(first: SetupSummary, later: SetupSummary, voice: Voice) -> str:
    way, apart = _apart(first, later, voice)
    return voice.say(f"said.then_{way}", later=called(later, voice), later_power=_power(later, voice), **apart)


def _apart(first: SetupSummary, later: SetupSummary, voice: Voice) -> tuple[str, dict[str, str]]:
    """Which way power and torque went, and how far."""
    power = (later.peak_power_w or 0.0) - (first.peak_power_w or 0.0)
    torque = (later.peak_torque_nm or 0.0) - (first.peak_torque_nm or 0.0)
    ways = {(True, True): "both_more", (False, False): "both_less", (True, False): "more_less"}
    way = ways.get((power >= 0.0, torque >= 0.0), "less_more")
    return way, {"power_apart": voice.power(abs(power)), "torque_apart": voice.torque(abs(torque))}


def _how_sure(first: SetupSummary, later: SetupSummary, judged: Judged | None, voice: Voice) -> str:
    """The verdict with its interval, as one says it across a counter."""
    letters = {"first": letter(first.position), "later": letter(later.position)}
    if judged is None:
        return voice.say("said.no_common", **letters)
    found = judged.verdict
    if found.interval_w is None:
        return voice.say("said.single", **letters)
    key = f"said.{found.kind}{'_heat' if judged.soaked and found.kind in ('gain', 'loss') else ''}"
    return voice.say(key, band=band(*found.band_rpm, voice), **letters, **_sizes(found, voice))


def _sizes(found: Verdict, voice: Voice) -> dict[str, str]:
    """How large it is and between what it lies: without a sign where the verdict says which way, with it elsewhere."""
    places, unit = power_decimals(found, voice.units), voice.units.label("power")
    ends = found.interval_w or (0.0, 0.0)
    if found.kind in ("gain", "loss"):
        ends = (min(map(abs, ends)), max(map(abs, ends)))
    share = voice.number(abs(found.difference_pct), share_decimals(found))
    return {
        "size": voice.power(abs(found.difference_w), places),
        "share": voice.say("per_cent", number=share),
        "low": voice.bare(ends[0], "power", places),
        "high": f"{voice.bare(ends[1], 'power', places)}{NO_BREAK}{unit}",
        "worth": voice.say("per_cent", number=voice.number(found.worth_pct, 0 if found.worth_pct % 1 == 0 else 1)),
    }
