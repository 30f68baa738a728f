"""Limits as pages show them: what was passed first on a pull's page, and the form on the ticket's."""

from collections.abc import Mapping, Sequence
from datetime import datetime

from sqlalchemy.orm import Session

from pullbook.late_methods import dataclass
from pullbook.measure.limits import LIMIT_RULES, Checked, LimitRule, Passing
from pullbook.shop.limiting import ADVICE, EarlierLimits, LimitSet, earlier_limits, limits_of
from pullbook.shown_units import ShownUnits, plain_number


@dataclass(frozen=True)
class PassingLine:
    """One stretch beyond a limit, in words and the shop's units."""

    limit: str
    began: str
    speed: str
    lasted: str
    furthest: str
    by: str


@dataclass(frozen=True)
class PullLimits:
    """A ticket's limits held against one pull."""

    passed: tuple[PassingLine, ...]  # first of all on the page
    kept: tuple[str, ...]
    unchecked: tuple[str, ...]  # why this file cannot tell
    notes: tuple[str, ...]  # how it was told: load, lag, brief passings
    advice: str

    @property
    def any(self) -> bool:
        """Whether the ticket has limits at all."""
        return bool(self.passed or self.kept or self.unchecked)


@dataclass(frozen=True)
class LimitField:
    """One field of the form: a kind of limit, and what it is now."""

    quantity: str
    label: str
    value: str
    hint: str


@dataclass(frozen=True)
class LimitLine:
    """A limit on record."""

    words: str
    note: str
    made_at: datetime
    made_by_name: str


@dataclass(frozen=True)
class EarlierLine:
    """What the same car was limited to on an earlier ticket, to be taken over by a click."""

    ticket_id: str
    ticket_number: int
    words: tuple[str, ...]
    figures: Mapping[str, str]  # by quantity, as its field holds it


@dataclass(frozen=True)
class TicketLimits:
    """The limits of a ticket: as they stand, as a form, and what the same car was last limited to."""

    lines: tuple[LimitLine, ...]
    fields: tuple[LimitField, ...]
    note: str
    earlier: EarlierLine | None
    advice: str


_HINTS = {
    "lambda_leaner_than": "Under load, once the mixture has settled.",
    "manifold_pressure_kpa_above": "Absolute: about 100 kPa with the engine off.",
    "knock_retard_deg_beyond": "Either sign.",
    "fuel_pressure_kpa_below": "Under load, as the logger states it.",
}


_BY_UNIT = {"kPa": "pressure", "°C": "temperature"}


def pull_limits(checked: Sequence[Checked], units: ShownUnits) -> PullLimits:
    """What the pull's page says of its ticket's limits; all empty where the ticket has none."""
    passed = [one for one in checked if one.passed]
    kept = [one for one in checked if one.why_not is None and not one.passed]
    return PullLimits(
        passed=tuple(_passing_line(one, passing, units) for one in passed for passing in one.passings),
        kept=tuple(_kept_words(one, units) for one in kept),
        unchecked=tuple(
            f"{limit_words(one.rule, one.limit, units)} {one.why_not}" for one in checked if one.why_not is not None
        ),
        notes=tuple(dict.fromkeys(words for one in checked for words in _notes(one))),
        advice=ADVICE,
    )


def limit_words(rule: LimitRule, value: float, units: ShownUnits) -> str:
    """`oil temperature above 130.0 °C`, temperatures and pressures in the shop's units."""
    return f"{rule.title} {rule.word} {_figure(rule, value, units)}"


def _figure(rule: LimitRule, value: float, units: ShownUnits) -> str:
    if dimension := _BY_UNIT.get(rule.unit):
        return units.text(value, dimension)
    figure = plain_number(value, rule.decimals)
    space = "" if rule.unit == "°" else "\u00a0"
    return figure if rule.unit == "λ" else f"{figure}{space}{rule.unit}"


def _apart(rule: LimitRule, value: float, limit: float, units: ShownUnits) -> str:
    """How far beyond: a difference of temperatures has no zero of its own, so both are turned first."""
    if dimension := _BY_UNIT.get(rule.unit):
        apart = abs(units.number(value, dimension) - units.number(limit, dimension))
        return f"{plain_number(apart, units.decimals(dimension))}\u00a0{units.label(dimension)}"
    return _figure(rule, abs(value - limit), units)


def _passing_line(one: Checked, passing: Passing, units: ShownUnits) -> PassingLine:
    rule = one.rule
    first, worst = passing.engine_speed_rpm, passing.worst_engine_speed_rpm
    at = "" if worst is None else f" at {plain_number(worst)} rev/min"
    by = _apart(rule, passing.worst, one.limit, units)
    return PassingLine(
        limit=limit_words(rule, one.limit, units),
        began=f"{plain_number(passing.first_s, 2)} s",
        speed="–" if first is None else f"{plain_number(first)} rev/min",
        lasted=f"{plain_number(passing.lasted_s, 2)} s",
        furthest=f"{_figure(rule, passing.worst, units)}{at}",
        by=by,
    )


def _kept_words(one: Checked, units: ShownUnits) -> str:
    nearest = "" if one.closest is None else f": nearest {_figure(one.rule, one.closest, units)}"
    return f"{limit_words(one.rule, one.limit, units)}{nearest}, {plain_number(one.looked_at_s, 1)} s looked at"


def _notes(one: Checked) -> list[str]:
    rule, said = one.rule, list[str]()
    if one.why_not is not None:
        return said
    if one.passed or one.brief:
        said.append(f"{rule.title} counts once it is {rule.word} its limit for {plain_number(rule.lasting_s, 2)} s")
    if one.brief:
        times = "once" if one.brief == 1 else f"{one.brief} times"
        said.append(f"{rule.title} was {rule.word} its limit {times} for less than that, which does not count")
    if rule.under_load:
        said.append(f"{rule.title} counts under load alone: {one.load_by}")
    if rule.channel == "lambda_measured":
        late = "up to a second" if one.lag_s is None else f"{plain_number(one.lag_s, 2)} s"
        said.append(f"λ is told {late} late by the probe")
    return said


def ticket_limits(session: Session, ticket_id: str, units: ShownUnits) -> TicketLimits:
    """What the ticket's page shows and offers."""
    now = {one.rule.quantity: one for one in limits_of(session, ticket_id)}
    earlier = earlier_limits(session, ticket_id)
    return TicketLimits(
        lines=tuple(
            LimitLine(limit_words(one.rule, one.value, units), one.note, one.made_at, one.made_by_name)
            for one in now.values()
        ),
        fields=tuple(_field(rule, now.get(quantity)) for quantity, rule in LIMIT_RULES.items()),
        note=next((one.note for one in now.values()), ""),
        advice=ADVICE,
        earlier=None if earlier is None else _earlier(earlier, units),
    )


def _field(rule: LimitRule, found: LimitSet | None) -> LimitField:
    unit = "" if rule.unit == "λ" else f", {rule.unit}"
    title = rule.title if rule.title == "λ" else rule.title.capitalize()
    value = "" if found is None else f"{found.value:g}"
    return LimitField(rule.quantity, f"{title} {rule.word}{unit}", value, _HINTS.get(rule.quantity, ""))


def _earlier(earlier: EarlierLimits, units: ShownUnits) -> EarlierLine:
    return EarlierLine(
        ticket_id=earlier.ticket_id,
        ticket_number=earlier.ticket_number,
        words=tuple(limit_words(one.rule, one.value, units) for one in earlier.limits),
        figures={one.rule.quantity: f"{one.value:g}" for one in earlier.limits},
    )
