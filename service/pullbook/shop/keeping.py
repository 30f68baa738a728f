"""How long the shop keeps people: who has not been here for longer than its own term, and photos older than theirs.

Pulls and tickets have no term: they are what the shop keeps them for. Nothing goes by itself; a person, or the command
that the shop has set to run by night, says when.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlalchemy import ColumnElement, Row, delete, func, select
from sqlalchemy.orm import Session

from pullbook.db.arrival import TicketPhoto
from pullbook.db.tables import Customer, Shop, Ticket
from pullbook.late_methods import dataclass
from pullbook.shop.auditing import note
from pullbook.shop.erasing import drop_photos_details, drop_pictures_of_nobody

MONTH = timedelta(days=30.44)
SHOWN = 50
_came = func.coalesce(Ticket.booked_from, Ticket.made_at)


@dataclass(frozen=True)
class Due:
    """What is due. `customers`: rows of id, name and when last seen, those longest away first; None: no term is set."""

    keep_customers_months: int | None
    keep_photos_months: int | None
    customers: Sequence[Row[str, str, datetime]]
    more_customers: bool
    photos: int


def due(session: Session, now: datetime) -> Due:
    """Who and what is due now; nothing where the shop has set no term."""
    terms = session.execute(select(Shop.keep_customers_months, Shop.keep_photos_months)).one_or_none()
    customers_months, photos_months = terms or (None, None)
    rows: Sequence[Row[str, str, datetime]] = ()
    if customers_months:
        rows = _away_since(session, now - customers_months * MONTH)
    photos = 0
    if photos_months:
        photos = session.execute(
            select(func.count()).select_from(TicketPhoto).where(_older(now, photos_months))
        ).scalar_one()
    return Due(customers_months, photos_months, rows[:SHOWN], len(rows) > SHOWN, photos)


def drop_old_photos(session: Session, now: datetime, staff_id: str | None) -> int:
    """Delete photos older than the shop's term; how many there were. None go where no term is set."""
    months = session.execute(select(Shop.keep_photos_months)).scalar_one_or_none()
    if not months:
        return 0
    gone = session.execute(
        delete(TicketPhoto).where(_older(now, months)).returning(TicketPhoto.id, TicketPhoto.sha256)
    ).all()
    drop_pictures_of_nobody(session, {row.sha256 for row in gone})
    drop_photos_details(session, [row.id for row in gone])
    for row in gone:
        note(session, now, staff_id, "drop", "photo", row.id)
    return len(gone)


def _older(now: datetime, months: int) -> ColumnElement[bool]:
    return TicketPhoto.made_at < now - months * MONTH


def _away_since(session: Session, until: datetime) -> Sequence[Row[str, str, datetime]]:
    """Customers none of whose tickets is younger, and who were not written down since."""
    seen = func.coalesce(func.max(_came), Customer.made_at)
    return session.execute(
        select(Customer.id, Customer.full_name, seen.label("last_seen_at"))
        .outerjoin(Ticket, Ticket.customer_id == Customer.id)
        .where(Customer.erased_at.is_(None), Customer.made_at < until)
        .group_by(Customer.id, Customer.full_name, Customer.made_at)
        .having(seen < until)
        .order_by(seen, Customer.id)
        .limit(SHOWN + 1)
    ).all()
