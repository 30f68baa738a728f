"""Limiting: what a ticket may not pass, who said so, and whether each of its pulls kept to it.

The service tells what the samples say. What is then done is decided by the people in the cell, local codes and licensed
practice: nothing here stops a pull, refuses a file or calls a car fit for the track.
"""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from pullbook.db.tables import Staff, Ticket
from pullbook.db.tuning import TicketLimit
from pullbook.late_methods import dataclass
from pullbook.measure.curve import Curve, Flag
from pullbook.measure.limits import LIMIT_CHANNELS, LIMIT_RULES, Checked, LimitRule, check_limits
from pullbook.runfile.channels import ChannelMapError
from pullbook.shop.auditing import note
from pullbook.shop.joining import all_channels
from pullbook.shop.loading import Loaded

# what may be asked of each, in the unit it ends in: wider than any engine, narrow enough to catch a wrong unit
REACH: Mapping[str, tuple[float, float]] = {
    "lambda_leaner_than": (0.5, 2.0),
    "manifold_pressure_kpa_above": (20.0, 1000.0),
    "coolant_temperature_c_above": (20.0, 200.0),
    "intake_temperature_c_above": (0.0, 200.0),
    "oil_temperature_c_above": (20.0, 250.0),
    "knock_retard_deg_beyond": (0.0, 40.0),
    "fuel_pressure_kpa_below": (20.0, 50_000.0),
}
ADVICE = (
    "These are the shop’s own limits, held against what the logger wrote. A sensor that is wrong, late or not fitted "
    "shows nothing here. The service advises; the people in the cell, local codes and licensed practice decide."
)


@dataclass(frozen=True)
class LimitSet:
    """One limit of a ticket as it stands on record."""

    rule: LimitRule
    value: float  # in the rule's unit
    note: str
    made_at: datetime
    made_by_name: str


@dataclass(frozen=True)
class EarlierLimits:
    """What the same car was limited to on an earlier ticket."""

    ticket_id: str
    ticket_number: int
    limits: tuple[LimitSet, ...]


def limits_of(session: Session, ticket_id: str) -> tuple[LimitSet, ...]:
    """A ticket's limits in the order of the rules; none for a ticket without any."""
    rows = session.execute(
        select(TicketLimit.__table__, Staff.full_name)
        .join(Staff, Staff.id == TicketLimit.made_by)
        .where(TicketLimit.ticket_id == ticket_id)
    )
    found = {
        row.quantity: LimitSet(LIMIT_RULES[row.quantity], row.value, row.note, row.made_at, row.full_name)
        for row in rows
    }
    return tuple(found[quantity] for quantity in LIMIT_RULES if quantity in found)


def earlier_limits(session: Session, ticket_id: str) -> EarlierLimits | None:
    """The limits of this car's latest earlier ticket that has any; None where there is none."""
    own = select(Ticket.vehicle_id, Ticket.number).where(Ticket.id == ticket_id).subquery()
    limited = select(TicketLimit.ticket_id).where(TicketLimit.ticket_id == Ticket.id).exists()
    row = session.execute(
        select(Ticket.id, Ticket.number)
        .join(own, own.c.vehicle_id == Ticket.vehicle_id)
        .where(Ticket.number < own.c.number, limited)
        .order_by(Ticket.number.desc())
        .limit(1)
    ).one_or_none()
    return None if row is None else EarlierLimits(row.id, row.number, limits_of(session, row.id))


def set_limits(
    session: Session, now: datetime, staff_id: str, ticket: Ticket, wanted: Mapping[str, float], words: str
) -> None:
    """Put these in place of what was there; what does not change keeps who set it and when. Counts the ticket on.

    `wanted`: by quantity, in the unit its name ends in, within `REACH`. Nothing changed: nothing is written.
    """
    before = {one.rule.quantity: one for one in limits_of(session, ticket.id)}
    kept = {
        quantity
        for quantity, one in before.items()
        if quantity in wanted and (one.value, one.note) == (wanted[quantity], words)
    }
    if len(kept) == len(before) == len(wanted):
        return
    gone = [quantity for quantity in before if quantity not in kept]
    session.execute(delete(TicketLimit).where(TicketLimit.ticket_id == ticket.id, TicketLimit.quantity.in_(gone)))
    for quantity, value in wanted.items():
        if quantity not in kept:
            made: dict[str, Any] = {"value": value, "note": words, "made_at": now, "made_by": staff_id}
            session.add(TicketLimit(ticket_id=ticket.id, quantity=quantity, **made))
    ticket.version += 1
    session.flush()
    had = {quantity: one.value for quantity, one in before.items()}
    note(session, now, staff_id, "change", "ticket_limits", ticket.id, had, {**wanted, "note": words})


def checked_limits(loaded: Loaded, lag_s: float | None = None) -> tuple[Checked, ...]:
    """The ticket's limits held against one pull; empty without limits, or for a file that cannot be read yet.

    Channels of joined files count too. `lag_s`: the probe's lag, where the pull itself told it.
    """
    if not loaded.limits or loaded.facts.state != "readable":
        return ()
    try:
        channels = all_channels(loaded, LIMIT_CHANNELS | {"roller_speed_rad_s", "roller_surface_speed_m_s"})
    except (LookupError, ChannelMapError):
        return ()
    weather = loaded.weather
    return check_limits(channels, loaded.limits, lag_s, None if weather is None else weather.station_pressure_kpa)


def limits_held(loaded: Loaded, curve: Curve | None) -> tuple[Checked, ...]:
    """The same of a pull that was read: with the probe's lag where its own sweep showed it."""
    lag = None if curve is None or curve.in_place is None else curve.in_place.lag
    return checked_limits(loaded, lag.lag_s if lag is not None and lag.quality != "usual" else None)


def limit_flags(checked: Sequence[Checked]) -> tuple[Flag, ...]:
    """One flag for all limits that were passed; none where all were kept, or could not be checked."""
    passed = [one for one in checked if one.passed]
    if not passed:
        return ()
    said = "; ".join(_passed_words(one) for one in passed)
    text = f"The ticket’s limits were passed: {said}. Stop and find out why before the next pull or the track."
    return (Flag("limit_passed", text),)


def _limit_words(rule: LimitRule, limit: float) -> str:
    return f"{rule.title} {rule.word} {_figure(rule, limit)}"


def _passed_words(one: Checked) -> str:
    worst, first = one.worst, one.passings[0]
    at = "" if first.engine_speed_rpm is None else f" ({first.engine_speed_rpm:.0f} rev/min)"
    times = "" if len(one.passings) == 1 else f" in {len(one.passings)} stretches"
    return (
        f"{_limit_words(one.rule, one.limit)} from {first.first_s:.2f} s{at} for {one.lasted_s:.2f} s{times}, "
        f"{'up' if one.rule.sign > 0 else 'down'} to {_figure(one.rule, worst.worst)}"
    )


def _figure(rule: LimitRule, value: float) -> str:
    figure = f"{value:.{rule.decimals}f}"
    return (
        f"λ {figure}" if rule.unit == "λ" else f"{figure}{rule.unit}" if rule.unit == "°" else f"{figure} {rule.unit}"
    )
