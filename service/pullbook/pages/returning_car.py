"""A car that was here before: its last visits and pulls, and what it was last limited to."""

from datetime import datetime

from sqlalchemy import ColumnElement, select
from sqlalchemy.orm import Session

from pullbook.db.evidence import Pull
from pullbook.db.tables import Ticket
from pullbook.db.tuning import TicketLimit
from pullbook.late_methods import dataclass
from pullbook.measure.correction import STANDARDS
from pullbook.pages.limits_shown import LimitLine, ticket_limits
from pullbook.shop.reading import ReadPull, ReadSettings, read_pulls
from pullbook.shown_units import ShownUnits

MOST_VISITS, MOST_PULLS = 3, 6


@dataclass(frozen=True)
class Visit:
    """An earlier ticket of the car."""

    id: str
    number: int
    at: datetime  # booked for, or made
    asked: str
    state: str


@dataclass(frozen=True)
class PullLine:
    """A pull in one line; its power before and after the standard's factor, where it could be read."""

    id: str
    ticket_number: int
    taken_at: datetime
    setup_position: int
    setup_name: str
    observed_w: float | None
    corrected_w: float | None  # None as well where there was no air to correct by
    why_not: str
    set_aside: bool


@dataclass(frozen=True)
class ReturningCar:
    """What the desk should know of a car as soon as it is picked."""

    visits: tuple[Visit, ...]
    pulls: tuple[PullLine, ...]
    standard_title: str
    limits: tuple[LimitLine, ...]
    limits_note: str
    limits_ticket: Visit | None


def returning_car(session: Session, vehicle_id: str, settings: ReadSettings, units: ShownUnits) -> ReturningCar:
    """Its last three tickets, last six pulls, and the limits of the latest ticket that has any."""
    visits = _visits(session, Ticket.vehicle_id == vehicle_id, MOST_VISITS)
    pull_ids = session.scalars(
        select(Pull.id)
        .join(Ticket, Ticket.id == Pull.ticket_id)
        .where(Ticket.vehicle_id == vehicle_id)
        .order_by(Pull.taken_at.desc(), Pull.id.desc())
        .limit(MOST_PULLS)
    ).all()
    limited = select(TicketLimit.ticket_id).where(TicketLimit.ticket_id == Ticket.id).exists()
    last = next(iter(_visits(session, (Ticket.vehicle_id == vehicle_id) & limited, 1)), None)
    told = ticket_limits(session, last.id, units) if last else None
    return ReturningCar(
        visits=visits,
        pulls=tuple(_line(pull) for pull in read_pulls(session, pull_ids, settings)) if pull_ids else (),
        standard_title=STANDARDS[settings.standard].title,
        limits=told.lines if told else (),
        limits_note=told.note if told else "",
        limits_ticket=last,
    )


def _visits(session: Session, condition: ColumnElement[bool], most: int) -> tuple[Visit, ...]:
    rows = session.scalars(select(Ticket).where(condition).order_by(Ticket.number.desc()).limit(most))
    return tuple(Visit(row.id, row.number, row.booked_from or row.made_at, row.asked, row.state) for row in rows)


def _line(pull: ReadPull) -> PullLine:
    facts, curve = pull.facts, pull.curve
    peak = None if curve is None else curve.headline.peak_power_w.value
    factor = None if curve is None else curve.factor
    return PullLine(
        id=facts.id,
        ticket_number=facts.ticket_number,
        taken_at=facts.taken_at,
        setup_position=facts.setup_position,
        setup_name=facts.setup_name,
        observed_w=peak / factor if peak is not None and factor else peak,
        corrected_w=peak if factor else None,
        why_not=pull.failure or facts.unreadable_reason or (facts.kind.replace("_", "-") if curve is None else ""),
        set_aside=facts.set_aside_at is not None,
    )
