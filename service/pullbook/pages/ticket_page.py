"""One ticket as its page shows it: customer and car, steps, setups, pulls, links."""

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from pullbook.db.evidence import Pull, ResultsLink
from pullbook.db.tables import Cell, ChannelMap, Customer, Setup, Staff, Ticket, TicketStep, Vehicle
from pullbook.errors import NotFound
from pullbook.measure.correction import STANDARDS
from pullbook.measure.curve import Flag
from pullbook.pages.arrival_shown import ticket_arrival
from pullbook.pages.cell_shown import LinkLine, MapBrief, SetupCard, StepLine, TicketHead, TicketPage
from pullbook.pages.charges_shown import ticket_charges
from pullbook.pages.finding import cells, vehicle_title
from pullbook.pages.limits_shown import ticket_limits
from pullbook.pages.track_shown import ticket_track
from pullbook.shop.booking import MOVES
from pullbook.shop.heat_soaking import heat_soak
from pullbook.shop.mapping import RECOGNISED_PREFIX
from pullbook.shop.reading import ReadPull, ReadSettings, read_pulls
from pullbook.shown_units import ShownUnits

MOST_PULLS = 300


def read_ticket(
    session: Session, ticket_id: str, now: datetime, settings: ReadSettings, units: ShownUnits
) -> TicketPage:
    """Everything of one ticket; NotFound for an unknown one."""
    head = _head(session, ticket_id)
    pull_ids = session.scalars(
        select(Pull.id)
        .where(Pull.ticket_id == ticket_id)
        .order_by(Pull.taken_at.desc(), Pull.id.desc())
        .limit(MOST_PULLS)
    ).all()
    pulls = tuple(read_pulls(session, pull_ids, settings)) if pull_ids else ()
    return TicketPage(
        ticket=head,
        steps=_steps(session, ticket_id),
        next_states=MOVES[head.state],
        setups=_setups(session, ticket_id),
        flags=_soaked(pulls, settings.standard),
        pulls=pulls,
        comparable=tuple(p.facts.id for p in pulls if p.curve is not None and p.facts.set_aside_at is None),
        links=_links(session, ticket_id, now),
        cells=cells(session),
        maps=saved_maps(session),
        standard=STANDARDS[settings.standard],
        limits=ticket_limits(session, ticket_id, units),
        track=ticket_track(session, ticket_id, pulls, units),
        charges=ticket_charges(session, ticket_id),
        arrival=ticket_arrival(session, ticket_id, now),
    )


def _soaked(pulls: Sequence[ReadPull], standard: str) -> tuple[Flag, ...]:
    """Heat soak, setup by setup."""
    by_setup: dict[str, list[ReadPull]] = {}
    for pull in sorted(pulls, key=lambda pull: pull.facts.setup_position):
        by_setup.setdefault(pull.facts.setup_id, []).append(pull)
    found = (heat_soak(f"“{members[0].facts.setup_name}”", members, standard) for members in by_setup.values())
    return tuple(flag for flag in found if flag is not None)


def _head(session: Session, ticket_id: str) -> TicketHead:
    row = session.execute(
        select(Ticket, Customer, Vehicle, Cell.name)
        .join(Customer, Customer.id == Ticket.customer_id)
        .join(Vehicle, Vehicle.id == Ticket.vehicle_id)
        .outerjoin(Cell, Cell.id == Ticket.cell_id)
        .where(Ticket.id == ticket_id)
    ).one_or_none()
    if row is None:
        raise NotFound("There is no such ticket.")
    ticket, customer, vehicle, cell_name = row
    return TicketHead(
        id=ticket.id,
        number=ticket.number,
        state=ticket.state,
        asked=ticket.asked,
        notes=ticket.notes,
        version=ticket.version,
        customer_name=customer.full_name,
        customer_phone=customer.phone,
        customer_email=customer.email,
        vehicle_title=vehicle_title(vehicle.model_year, vehicle.make, vehicle.model),
        plate=vehicle.plate,
        vin=vehicle.vin,
        engine=vehicle.engine,
        fuel=vehicle.fuel,
        aspiration=vehicle.aspiration,
        drive=vehicle.drive,
        cell_id=ticket.cell_id,
        cell_name=cell_name,
        booked_from=ticket.booked_from,
        booked_to=ticket.booked_to,
        waiver_name=ticket.waiver_name,
        waiver_at=ticket.waiver_at,
    )


def _steps(session: Session, ticket_id: str) -> tuple[StepLine, ...]:
    rows = session.execute(
        select(TicketStep.state, TicketStep.at, Staff.full_name, TicketStep.note)
        .join(Staff, Staff.id == TicketStep.by)
        .where(TicketStep.ticket_id == ticket_id)
        .order_by(TicketStep.at, TicketStep.id)
    )
    return tuple(StepLine(*row) for row in rows)


def _setups(session: Session, ticket_id: str) -> tuple[SetupCard, ...]:
    count = select(func.count()).where(Pull.setup_id == Setup.id).scalar_subquery()
    rows = session.execute(select(Setup, count).where(Setup.ticket_id == ticket_id).order_by(Setup.position))
    return tuple(
        SetupCard(
            id=setup.id,
            position=setup.position,
            name=setup.name,
            changed=setup.changed,
            gear=setup.gear,
            engine_turns_per_roller_turn=setup.engine_turns_per_roller_turn,
            tyre_pressure_kpa=setup.tyre_pressure_kpa,
            fuel=setup.fuel,
            version=setup.version,
            pull_count=pulls,
        )
        for setup, pulls in rows
    )


def _links(session: Session, ticket_id: str, now: datetime) -> tuple[LinkLine, ...]:
    rows = session.execute(
        select(ResultsLink, Staff.full_name)
        .join(Staff, Staff.id == ResultsLink.made_by)
        .where(ResultsLink.ticket_id == ticket_id)
        .order_by(ResultsLink.made_at.desc())
    )
    return tuple(
        LinkLine(
            id=link.id,
            made_at=link.made_at,
            made_by_name=maker,
            ends_at=link.ends_at,
            revoked_at=link.revoked_at,
            opened_count=link.opened_count,
            last_opened_on=link.last_opened_on,
            note=link.note,
            pull_count=len(link.pull_ids),
            is_live=link.revoked_at is None and link.ends_at > now,
        )
        for link, maker in rows
    )


def saved_maps(session: Session) -> tuple[MapBrief, ...]:
    """The channel maps that people made, by name."""
    rows = session.execute(
        select(ChannelMap.id, ChannelMap.name)
        .where(~ChannelMap.name.startswith(RECOGNISED_PREFIX, autoescape=True))
        .order_by(ChannelMap.name)
    )
    return tuple(MapBrief(*row) for row in rows)
