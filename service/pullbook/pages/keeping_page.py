"""Customers' data as the owner sees to it: who asks for theirs, who asks to be forgotten, and what is past its term."""

from datetime import datetime
from typing import Annotated, ClassVar

from fastapi import Query, Request
from sqlalchemy import func, select
from sqlalchemy.orm import Session
from starlette.responses import Response

from pullbook.db.leaving import Erasure
from pullbook.db.people import Staff
from pullbook.db.tables import Customer, Ticket
from pullbook.deps import Now, Owner, ReadSession
from pullbook.late_methods import dataclass
from pullbook.late_routes import LateRouter
from pullbook.pages.render import around_person, draw
from pullbook.pages.told import Shown, told
from pullbook.shop.keeping import due
from pullbook.shop.spotting import customers_with

router = LateRouter(include_in_schema=False)
FOUND_SHOWN = 20


@dataclass(frozen=True)
class CustomerLine:
    """A customer, and how many tickets they have."""

    id: str
    full_name: str
    reach: str
    tickets: int


@dataclass(frozen=True)
class AwayLine:
    """A customer past the shop's term."""

    id: str
    full_name: str
    last_seen_at: datetime


@dataclass(frozen=True)
class ErasureLine:
    """A customer who was forgotten. `who` did it; empty: the shop's own term did."""

    customer_id: str
    at: datetime
    who: str
    reason: str


@dataclass(frozen=True)
class KeepingPage(Shown):
    """Customers' data."""

    template: ClassVar[str] = "owner/keeping.html"
    find: str = told("What was looked for; empty: nothing yet.")
    found: tuple[CustomerLine, ...] = told("Customers found, newest first.")
    more_found: bool = told("Whether there are more than are listed.")
    keep_customers_months: int | None = told("The shop's term for customers; none: for good.")
    keep_photos_months: int | None = told("The shop's term for photos; none: for good.")
    away: tuple[AwayLine, ...] = told("Customers past their term, those longest away first.")
    more_away: bool = told("Whether more are past it than are listed.")
    old_photos: int = told("How many photos are past their term.")
    erased: tuple[ErasureLine, ...] = told("Who was forgotten, latest first.")


@router.get("/keeping")
def keeping(
    request: Request,
    session: ReadSession,
    person: Owner,
    now: Now,
    find: Annotated[str, Query(max_length=200)] = "",
) -> Response:
    """Find a customer, take their data away or forget them; what is past its term."""
    found = _found(session, find)
    past = due(session, now)
    page = KeepingPage(
        find=find,
        found=found[:FOUND_SHOWN],
        more_found=len(found) > FOUND_SHOWN,
        keep_customers_months=past.keep_customers_months,
        keep_photos_months=past.keep_photos_months,
        away=tuple(AwayLine(*row) for row in past.customers),
        more_away=past.more_customers,
        old_photos=past.photos,
        erased=_erased(session),
    )
    return draw(around_person(request, session, person, "keeping"), page)


def _found(session: Session, find: str) -> tuple[CustomerLine, ...]:
    if not find.strip():
        return ()
    count = select(func.count()).where(Ticket.customer_id == Customer.id).correlate(Customer).scalar_subquery()
    standing = select(Customer.id, Customer.full_name, Customer.phone, Customer.email, count)
    standing = standing.where(Customer.erased_at.is_(None))
    found = customers_with(session, standing, find)
    rows = session.execute(found.order_by(Customer.id.desc()).limit(FOUND_SHOWN + 1))
    return tuple(
        CustomerLine(own_id, name, " · ".join(filter(None, (phone, email))), tickets)
        for own_id, name, phone, email, tickets in rows
    )


def _erased(session: Session) -> tuple[ErasureLine, ...]:
    rows = session.execute(
        select(Erasure.customer_id, Erasure.erased_at, func.coalesce(Staff.full_name, ""), Erasure.reason)
        .outerjoin(Staff, Staff.id == Erasure.erased_by)
        .order_by(Erasure.id.desc())
        .limit(FOUND_SHOWN)
    )
    return tuple(ErasureLine(*row) for row in rows)
