"""Customers: who the cars belong to."""

from typing import Annotated, Any

from fastapi import Path, Response
from pydantic import Field
from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.api.editing import apply, locked, record_making, refuse_stale
from pullbook.api.listing import Cursor, Find, Limit, page
from pullbook.api.shaping import UNSET, Answer, Asked, Instant, Line, Words, changes_of
from pullbook.db.tables import Customer
from pullbook.deps import Desk, Now, ReadSession, SignedIn, WriteSession
from pullbook.errors import NotFound
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.shop.coming_back import refuse_forgotten
from pullbook.shop.searching import findable
from pullbook.shop.spotting import customers_with

router = LateRouter(prefix="/api/v1/customers", tags=["customers"])
CustomerId = Annotated[str, Path(description="The customer's id.")]
FullName = Annotated[Line, Field(min_length=1)]


class NewCustomer(Asked):
    """Who it is and how to reach them."""

    full_name: FullName
    phone: Line = ""
    email: Line = ""
    notes: Words = ""


class CustomerChange(Asked):
    """What to change; `version` is the one last read."""

    version: int
    full_name: FullName = UNSET
    phone: Line = UNSET
    email: Line = UNSET
    notes: Words = UNSET


class CustomerAnswer(Answer):
    """A customer on record."""

    id: str
    full_name: str
    phone: str
    email: str
    notes: str
    made_at: Instant
    version: int
    erased_at: Instant | None


class CustomerList(Answer):
    """A page of customers, newest first."""

    items: list[CustomerAnswer]
    next: str | None


COLUMNS = tuple(getattr(Customer, name) for name in CustomerAnswer.model_fields)


def one(session: Session, customer_id: str) -> dict[str, Any]:
    """A customer as answered; NotFound when there is none."""
    row = session.execute(select(*COLUMNS).where(Customer.id == customer_id)).mappings().one_or_none()
    if row is None:
        raise NotFound(f"There is no customer {customer_id}.")
    return dict(row)


def _found_by(row: Customer) -> str:
    return findable(row.full_name, row.phone, row.email)


@router.post("", status_code=201, summary="Add a customer", response_model=CustomerAnswer)
def add(asked: NewCustomer, person: Desk, session: WriteSession, now: Now) -> Response:
    """Two people may share a name; nothing is merged by itself."""
    row = Customer(**asked.model_dump(), made_at=now, found_by="")
    row.found_by = _found_by(row)
    session.add(row)
    session.flush()
    record_making(session, now, person.id, row, asked.model_dump(), "customer")
    return Json(one(session, row.id), 201)


@router.get("", summary="Find customers", response_model=CustomerList)
def several(
    person: SignedIn, session: ReadSession, find: Find = None, cursor: Cursor = None, limit: Limit = 50
) -> Response:
    """By name, phone or e-mail as it is typed: every word must occur."""
    statement = customers_with(session, select(*COLUMNS), find or "")
    rows, following = page(session, statement, [Customer.id], cursor, limit)
    return Json({"items": [dict(row._mapping) for row in rows], "next": following})


@router.get("/{customer_id}", summary="One customer", response_model=CustomerAnswer)
def get(customer_id: CustomerId, person: SignedIn, session: ReadSession) -> Response:
    """As it is on record now."""
    return Json(one(session, customer_id))


@router.patch("/{customer_id}", summary="Change a customer", response_model=CustomerAnswer)
def change(customer_id: CustomerId, asked: CustomerChange, person: Desk, session: WriteSession, now: Now) -> Response:
    """Only the fields sent; 409 when somebody changed it meanwhile."""
    row, changes = locked(session, Customer, customer_id, "customer"), changes_of(asked)
    refuse_stale(row, asked.version, changes, "customer")
    refuse_forgotten(row.erased_at, "customer_id", customer_id)
    if apply(session, now, person.id, row, changes, "customer"):
        row.found_by = _found_by(row)
    session.flush()
    return Json(one(session, customer_id))
