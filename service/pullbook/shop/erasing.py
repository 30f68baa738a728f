"""Taking a person out of the records on request: who it was goes, what was measured stays and still verifies.

Gone are name, telephone, e-mail, plate, VIN, notes, what was asked in words, the name under the waiver, photos, letters
with published results, why something was struck or set aside, and the before and after of every audit entry about them.
Amounts stay, because books must be kept; pulls, their chain and the names of their files stay, because they are
evidence; and so does what was written beside steps and signings, which nothing changes, and in setups and charge lines.
Live results links end.
"""

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import delete, exists, func, select, update
from sqlalchemy.orm import Session

from pullbook.db.arrival import Picture, TicketPhoto
from pullbook.db.evidence import AuditDetail, AuditEntry, Pull, ResultsLink
from pullbook.db.joined import JoinedFile
from pullbook.db.leaving import Erasure
from pullbook.db.money import Charge, Payment
from pullbook.db.tables import Customer, Setup, Ticket, Vehicle
from pullbook.db.tuning import TicketLimit, TrackRun
from pullbook.errors import Clash, FieldProblem, NotFound
from pullbook.late_methods import dataclass
from pullbook.shop.auditing import note
from pullbook.shop.chaining import forget_words
from pullbook.shop.indexing import forget
from pullbook.shop.searching import findable

ERASED = "Erased"
AT_ONCE = 500  # ids to a statement
_STILL_HERE = ("checked_in", "in_cell", "ready", "on_hold")


@dataclass(frozen=True)
class Erased:
    """How much was taken out, and what stays: the names of pulls' files, which are evidence."""

    customer_id: str
    vehicles: int
    tickets: int
    photos: int
    links_ended: int
    audit_details: int
    file_names_kept: int


def erase(session: Session, now: datetime, staff_id: str | None, customer_id: str, reason: str) -> Erased:
    """Take this customer out, in this transaction. NotFound; Clash while a car of theirs is here.

    Doing it again is allowed and takes out what was written since.
    """
    customer = session.get(Customer, customer_id, with_for_update=True)
    if customer is None:
        raise NotFound(f"There is no customer {customer_id}.")
    tickets = list(session.scalars(select(Ticket.id).where(Ticket.customer_id == customer_id)))
    _refuse_while_here(session, customer_id)
    vehicles = list(session.scalars(select(Vehicle.id).where(Vehicle.customer_id == customer_id)))
    details = _audit_details(session, customer_id)
    _customer_and_cars(session, customer, now)
    photos = _photos(session, tickets)
    ended = _tickets(session, now, tickets)
    kept = session.execute(select(func.count()).select_from(Pull).where(Pull.ticket_id.in_(tickets))).scalar_one()
    forget(session, customer_id)
    session.add(Erasure(customer_id=customer_id, erased_at=now, erased_by=staff_id, reason=reason))
    note(session, now, staff_id, "erase", "customer", customer_id)
    return Erased(customer_id, len(vehicles), len(tickets), photos, ended, details, kept)


def _refuse_while_here(session: Session, customer_id: str) -> None:
    here = select(Ticket.number, Ticket.state).where(Ticket.customer_id == customer_id, Ticket.state.in_(_STILL_HERE))
    open_ones = session.execute(here.order_by(Ticket.number)).all()
    if open_ones:
        named = ", ".join(f"ticket {number} ({state.replace('_', ' ')})" for number, state in open_ones)
        raise Clash(
            f"A car of this customer is still here: {named}. Hand it back or cancel the ticket first.",
            *[FieldProblem("state", state, "collected or cancelled") for _, state in open_ones],
        )


def _customer_and_cars(session: Session, customer: Customer, now: datetime) -> None:
    customer.full_name, customer.phone, customer.email, customer.notes = f"{ERASED} {customer.id[-4:]}", "", "", ""
    customer.found_by, customer.erased_at = "", now
    customer.version += 1
    theirs = select(Vehicle).where(Vehicle.customer_id == customer.id).with_for_update(key_share=True)
    for car in session.scalars(theirs):
        car.plate, car.vin, car.notes = "", "", ""
        car.found_by = findable(car.make, car.model)
        car.version += 1


def _tickets(session: Session, now: datetime, tickets: Sequence[str]) -> int:
    """Words on tickets, and around them. Gives how many live links were ended."""
    blank: dict[type[Any], dict[str, Any]] = {
        Pull: {"notes": "", "version": Pull.version + 1},
        Payment: {"note": ""},
        TicketLimit: {"note": ""},
        TrackRun: {"notes": "", "version": TrackRun.version + 1},
        ResultsLink: {"note": "", "told": None, "version": ResultsLink.version + 1},
    }
    for table, values in blank.items():
        session.execute(update(table).where(table.ticket_id.in_(tickets)).values(values))
    _reasons(session, tickets)
    session.execute(
        update(Ticket)
        .where(Ticket.id.in_(tickets))
        .values(
            asked=ERASED, notes="", tyre_condition=None, tyre_pressures=None, tyre_age=None, keys_where=None,
            arrival_notes=None, version=Ticket.version + 1,
        )
    )  # fmt: skip
    session.execute(update(Ticket).where(Ticket.id.in_(tickets), Ticket.waiver_name != "").values(waiver_name=ERASED))
    # the letters' digests were salted: without the salt nobody can try what they said, and the entries still hold
    forget_words(
        session, "published", session.scalars(select(ResultsLink.id).where(ResultsLink.ticket_id.in_(tickets))).all()
    )
    standing = (ResultsLink.ticket_id.in_(tickets), ResultsLink.revoked_at.is_(None))
    ended = session.execute(update(ResultsLink).where(*standing).values(revoked_at=now).returning(ResultsLink.ends_at))
    return sum(ends_at > now for ends_at in ended.scalars())  # one that ran out is ended too, so nobody extends it


def _reasons(session: Session, tickets: Sequence[str]) -> None:
    """That something was struck, set aside or left out stays, and not why."""
    pulls = select(Pull.id).where(Pull.ticket_id.in_(tickets))
    for told, theirs in (
        (Pull.set_aside_reason, Pull.ticket_id.in_(tickets)),
        (TrackRun.set_aside_reason, TrackRun.ticket_id.in_(tickets)),
        (Charge.struck_reason, Charge.ticket_id.in_(tickets)),
        (Payment.struck_reason, Payment.ticket_id.in_(tickets)),
        (JoinedFile.left_out_reason, JoinedFile.pull_id.in_(pulls)),
    ):
        session.execute(update(told.class_).where(theirs, told.is_not(None)).values({told.key: ERASED}))


def _photos(session: Session, tickets: Sequence[str]) -> int:
    """Photos go, and their pictures where nobody else's ticket shows the very same one."""
    pictures = set(session.scalars(select(TicketPhoto.sha256).where(TicketPhoto.ticket_id.in_(tickets))))
    gone = session.execute(delete(TicketPhoto).where(TicketPhoto.ticket_id.in_(tickets)).returning(TicketPhoto.id))
    count = len(gone.all())
    drop_pictures_of_nobody(session, pictures)
    return count


def drop_pictures_of_nobody(session: Session, pictures: set[str]) -> None:
    """Of these pictures, by their hashes, those that no photo shows any more."""
    shown = exists().where(TicketPhoto.sha256 == Picture.sha256)
    for some in batched(sorted(pictures)):
        session.execute(delete(Picture).where(Picture.sha256.in_(some), ~shown))


def drop_photos_details(session: Session, photo_ids: Sequence[str]) -> None:
    """What the trail says of these photos, their captions with it: once they are gone nobody finds it for anyone."""
    for some in batched(photo_ids):
        numbers = select(AuditEntry.number).where(AuditEntry.record == "photo", AuditEntry.record_id.in_(some))
        session.execute(delete(AuditDetail).where(AuditDetail.number.in_(numbers)))


def batched(ids: Sequence[str]) -> Iterator[Sequence[str]]:
    """So many at a time as every database takes in one statement."""
    for at in range(0, len(ids), AT_ONCE):
        yield ids[at : at + AT_ONCE]


def records_about(session: Session, customer_id: str) -> set[str]:
    """The ids of all that is on record about a customer, of those who are erased too."""
    tickets = list(session.scalars(select(Ticket.id).where(Ticket.customer_id == customer_id)))
    about = {customer_id, *tickets, *session.scalars(select(Vehicle.id).where(Vehicle.customer_id == customer_id))}
    for table in (Setup, Pull, ResultsLink, TrackRun, TicketPhoto, Charge, Payment):
        about.update(session.scalars(select(table.id).where(table.ticket_id.in_(tickets))))
    joined = select(JoinedFile.id).join(Pull, Pull.id == JoinedFile.pull_id).where(Pull.ticket_id.in_(tickets))
    return {*about, *session.scalars(joined)}


def _audit_details(session: Session, customer_id: str) -> int:
    """Before and after of whatever was done to their records; the entries stay, and their chain with them."""
    numbers = select(AuditEntry.number).where(AuditEntry.record_id.in_(records_about(session, customer_id)))
    gone = delete(AuditDetail).where(AuditDetail.number.in_(numbers)).returning(AuditDetail.number)
    return len(session.execute(gone).all())
