"""What a ticket's page shows of the car's arrival: what was noted, photos, the waiver, the safety checklist."""

from datetime import datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.db.arrival import Picture, SafetyChecklist, SafetySigning, TicketPhoto, WaiverText
from pullbook.db.tables import Cell, Staff, Ticket
from pullbook.late_methods import dataclass
from pullbook.pages.words import EIGHTH_WORDS
from pullbook.shop.accepting import waiver_in_force
from pullbook.shop.signing_off import missing_before_running
from pullbook.shown_units import plain_number

CLOCK_OFF = timedelta(minutes=2)  # a device's clock that is further off than this is told of


@dataclass(frozen=True)
class PhotoLine:
    """A photo of the car."""

    id: str
    caption: str
    width_px: int
    height_px: int
    made_at: datetime
    made_by_name: str
    set_aside_reason: str | None


@dataclass(frozen=True)
class SigningLine:
    """Somebody went through the checklist."""

    signed_at: datetime
    by_name: str
    cell_name: str | None
    checklist_number: int | None
    written_up_at: datetime | None  # where it was signed on paper first
    device_at: datetime | None  # where the device's clock was off
    noted: tuple[tuple[str, str], ...]  # points with a word to them: the point, the word
    note: str


@dataclass(frozen=True)
class TicketArrival:
    """A car's arrival and what comes before it is run."""

    lines: tuple[tuple[str, str], ...]  # what was noted, in words; empty while nothing was
    odometer_km: int | None
    fuel_eighths: int | None
    tyre_condition: str
    tyre_pressures: str
    tyre_age: str
    key_count: int | None
    keys_where: str
    arrival_notes: str
    waiver_id: str  # of the text in force
    waiver_number: int
    accepted_number: int | None  # of the text that was accepted; None where none is on record
    photos: tuple[PhotoLine, ...]
    photos_aside: tuple[PhotoLine, ...]
    signings: tuple[SigningLine, ...]
    missing: tuple[str, ...]  # before the car is run, as things stand now


def ticket_arrival(session: Session, ticket_id: str, now: datetime) -> TicketArrival:
    """Everything of a ticket that is on record; the ticket must be there."""
    ticket = session.execute(select(Ticket).where(Ticket.id == ticket_id)).scalar_one()
    accepted = select(WaiverText.number).where(WaiverText.id == ticket.waiver_version_id)
    in_force, photos = waiver_in_force(session), _photos(session, ticket_id)
    return TicketArrival(
        lines=arrival_lines(ticket),
        odometer_km=ticket.odometer_km,
        fuel_eighths=ticket.fuel_eighths,
        tyre_condition=ticket.tyre_condition or "",
        tyre_pressures=ticket.tyre_pressures or "",
        tyre_age=ticket.tyre_age or "",
        key_count=ticket.key_count,
        keys_where=ticket.keys_where or "",
        arrival_notes=ticket.arrival_notes or "",
        waiver_id=in_force.id,
        waiver_number=in_force.number,
        accepted_number=session.execute(accepted).scalar_one_or_none(),
        photos=tuple(photo for photo in photos if photo.set_aside_reason is None),
        photos_aside=tuple(photo for photo in photos if photo.set_aside_reason is not None),
        signings=signing_lines(session, ticket_id),
        missing=tuple(missing_before_running(session, ticket.waiver_name, ticket_id, ticket.cell_id, now)),
    )


def arrival_lines(ticket: Ticket) -> tuple[tuple[str, str], ...]:
    """What was noted of the car as it came, each with its name."""
    keys = "" if ticket.key_count is None else str(ticket.key_count)
    told = (
        ("Odometer", "" if ticket.odometer_km is None else f"{plain_number(ticket.odometer_km)} km"),
        ("Fuel", "" if ticket.fuel_eighths is None else _tank(ticket.fuel_eighths)),
        ("Tyres", ticket.tyre_condition or ""),
        ("Tyre pressures", ticket.tyre_pressures or ""),
        ("Tyre age", ticket.tyre_age or ""),
        ("Keys", ", ".join(part for part in (keys, ticket.keys_where or "") if part)),
        ("Seen and told", ticket.arrival_notes or ""),
    )
    return tuple((name, text) for name, text in told if text)


def _tank(eighths: int) -> str:
    word = EIGHTH_WORDS[eighths]
    return f"{word} of a tank" if "/" in word else word


def _photos(session: Session, ticket_id: str) -> tuple[PhotoLine, ...]:
    rows = session.execute(
        select(TicketPhoto, Picture.width_px, Picture.height_px, Staff.full_name)
        .join(Picture, Picture.sha256 == TicketPhoto.sha256)
        .join(Staff, Staff.id == TicketPhoto.made_by)
        .where(TicketPhoto.ticket_id == ticket_id)
        .order_by(TicketPhoto.made_at, TicketPhoto.id)
    )
    return tuple(
        PhotoLine(photo.id, photo.caption, width, height, photo.made_at, maker, photo.set_aside_reason)
        for photo, width, height, maker in rows
    )


def signing_lines(session: Session, ticket_id: str) -> tuple[SigningLine, ...]:
    """A ticket's signings, newest first."""
    rows = session.execute(
        select(SafetySigning, Staff.full_name, Cell.name, SafetyChecklist.number, SafetyChecklist.points)
        .join(Staff, Staff.id == SafetySigning.signed_by)
        .outerjoin(Cell, Cell.id == SafetySigning.cell_id)
        .outerjoin(SafetyChecklist, SafetyChecklist.id == SafetySigning.checklist_id)
        .where(SafetySigning.ticket_id == ticket_id)
        .order_by(SafetySigning.signed_at.desc(), SafetySigning.id.desc())
    )
    return tuple(_line(*row) for row in rows)


def _line(
    signing: SafetySigning, by_name: str, cell_name: str | None, number: int | None, points: list[str] | None
) -> SigningLine:
    late = signing.received_at > signing.signed_at
    off = signing.device_at is not None and abs(signing.device_at - signing.received_at) > CLOCK_OFF
    words = zip(points or [], signing.points, strict=True)
    return SigningLine(
        signed_at=signing.signed_at,
        by_name=by_name,
        cell_name=cell_name,
        checklist_number=number,
        written_up_at=signing.received_at if late else None,
        device_at=signing.device_at if off else None,
        noted=tuple((text, str(point["note"])) for text, point in words if point["note"]),
        note=signing.note,
    )
