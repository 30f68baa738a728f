"""How results were measured, line by line, and what was not the same for all of them."""

from collections.abc import Callable, Sequence

from pullbook.measure.correction import STANDARDS, Standard
from pullbook.pages.results_shown import Fact
from pullbook.pages.results_voice import Voice
from pullbook.pages.results_words import band
from pullbook.panels import letter
from pullbook.shop.comparing import Comparison, SetupRead
from pullbook.shop.conditions import Condition
from pullbook.shop.reading import ReadPull

_DECIMALS = {"ratio": 2, "factor": 4, "intake": 0, "coolant": 0, "window": 2}


def measured_facts(comparison: Comparison, voice: Voice) -> tuple[Fact, ...]:
    """Cell, standard, band, gear, tyres, fuel, air and factor, pulls made and set aside with the reasons."""
    say = voice.say
    cells = dict.fromkeys(pull.facts.cell_name for pull in comparison.pulls)
    facts = [
        Fact(say("how.cell"), voice.listed(cells)),
        Fact(say("how.standard"), _standard(STANDARDS[comparison.standard], voice)),
    ]
    if comparison.judged and comparison.judgement.band_rpm is not None:
        facts.append(Fact(say("how.band"), band(*comparison.judgement.band_rpm, voice)))
    for key, tell in (("how.gear", _gear), ("how.tyres", _tyres), ("how.fuel", _fuel)):
        facts.append(Fact(say(key), _of_setups(comparison.setups, tell, voice)))
    for setup in comparison.setups:
        facts.append(Fact(say("how.air_for", letter=letter(setup.place)), _air(setup, voice)))
    facts.append(Fact(say("how.pulls"), "; ".join(_pulls(setup, voice) for setup in comparison.setups)))
    return (*facts, *_set_aside(comparison, voice))


def conditions_apart(comparison: Comparison, voice: Voice) -> tuple[Fact, ...]:
    """Each condition that differs, setup by setup."""
    return tuple(
        Fact(voice.say(f"condition.{one.code}"), _values(one, comparison.setups, voice))
        for one in comparison.conditions
    )


def _values(condition: Condition, setups: Sequence[SetupRead], voice: Voice) -> str:
    found = []
    for setup in setups:
        if setup.setup_id in condition.means:
            number = voice.number(condition.means[setup.setup_id], _DECIMALS[condition.code])
            value = voice.say(f"condition.{condition.code}_value", number=number)
        elif setup.setup_id in condition.values:
            told = dict.fromkeys(_TOLD[condition.code](pull, voice) for pull in setup.pulls)
            value = voice.listed(one for one in told if one)
        else:
            continue
        found.append(voice.say("how.each", letter=letter(setup.place), value=value))
    return "; ".join(found)


def _calibration(pull: ReadPull, voice: Voice) -> str:
    if pull.calibration is None:
        return voice.say("how.not_stated")
    return voice.say("condition.calibration_value", when=voice.moment(pull.calibration.valid_from))


def _axis(pull: ReadPull, voice: Voice) -> str:
    return "" if pull.curve is None else voice.say(f"axis.{pull.curve.axis}")


def _correction(pull: ReadPull, voice: Voice) -> str:
    return "" if pull.curve is None else voice.standard(STANDARDS[pull.curve.standard])


def _gear(pull: ReadPull, voice: Voice) -> str:
    return pull.setup.gear or voice.say("how.not_stated")


def _tyres(pull: ReadPull, voice: Voice) -> str:
    pressure = pull.setup.tyre_pressure_kpa
    return voice.say("how.not_stated") if pressure is None else voice.figure(pressure, "pressure")


def _fuel(pull: ReadPull, voice: Voice) -> str:
    return pull.setup.fuel or voice.say(f"fuel.{pull.ticket.vehicle.fuel}")


_TOLD: dict[str, Callable[[ReadPull, Voice], str]] = {
    "vehicle": lambda pull, _: pull.ticket.vehicle.title,
    "ticket": lambda pull, _: str(pull.ticket.number),
    "cell": lambda pull, _: pull.cell.name,
    "calibration": _calibration,
    "correction": _correction,
    "axis": _axis,
    "gear": _gear,
    "tyre_pressure": _tyres,
    "fuel": _fuel,
}


def _of_setups(setups: Sequence[SetupRead], tell: Callable[[ReadPull, Voice], str], voice: Voice) -> str:
    """Said once where it was the same throughout, else setup by setup."""
    told = {setup.place: tell(setup.pulls[0], voice) for setup in setups}
    if len(set(told.values())) == 1:
        return next(iter(told.values()))
    return "; ".join(voice.say("how.each", letter=letter(place), value=value) for place, value in told.items())


def _standard(standard: Standard, voice: Voice) -> str:
    if standard.identifier == "observed":
        return voice.say("how.observed_text")
    reference = voice.say(f"reference.{standard.identifier}")
    return voice.say("how.standard_text", standard=standard.title, reference=reference)


def _air(setup: SetupRead, voice: Voice) -> str:
    """From the coolest to the warmest of a setup's pulls, and the factors that came of it."""
    curves = [pull.curve for pull in setup.standing if pull.curve is not None]
    airs = [curve.air for curve in curves if curve.air is not None]
    factors = [curve.factor for curve in curves if curve.factor is not None]
    if not airs:
        return voice.say("how.no_air")
    pressures = [voice.units.number(air.pressure_kpa, "pressure") for air in airs]
    return voice.say(
        "how.air_factor" if factors else "how.air",
        temperature=voice.span([air.temperature_c for air in airs], 1),
        pressure=f"{voice.span(pressures, voice.units.decimals('pressure'))}\u00a0{voice.units.label('pressure')}",
        humidity=voice.span([air.relative_humidity_pct for air in airs], 0),
        factor=voice.span(factors, 4) if factors else "",
    )


def _pulls(setup: SetupRead, voice: Voice) -> str:
    aside = sum(pull.facts.set_aside_at is not None for pull in setup.pulls)
    key = "how.pulls_of_aside" if aside else "how.pulls_of"
    return voice.say(key, letter=letter(setup.place), made=len(setup.pulls), aside=aside)


def _set_aside(comparison: Comparison, voice: Voice) -> list[Fact]:
    found = []
    for setup in comparison.setups:
        for pull in setup.pulls:
            if pull.facts.set_aside_at is not None:
                when, reason = voice.moment(pull.facts.taken_at), pull.facts.set_aside_reason
                text = voice.say("how.aside_text", letter=letter(setup.place), when=when, reason=reason)
                found.append(Fact(voice.say("how.aside"), text))
    return found
