"""People's data: one customer's, to take away or to be forgotten, and what was kept past the shop's own terms."""

import tempfile
from collections.abc import Iterator
from typing import IO, Annotated, Any

from fastapi import BackgroundTasks, Path, Response
from pydantic import Field
from sqlalchemy import select
from starlette.responses import StreamingResponse

from pullbook.api.shaping import Answer, Asked, Instant, Line
from pullbook.db.tables import Customer, Shop
from pullbook.deps import DatabaseDep, Now, Owner, ReadSession, WriteSession
from pullbook.errors import FieldProblem, Invalid, NotFound
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.shop.erasing import erase
from pullbook.shop.handing_over import hand_over
from pullbook.shop.keeping import drop_old_photos, due

router = LateRouter(prefix="/api/v1", tags=["people's data"])
CustomerId = Annotated[str, Path(description="The customer's id.")]
_IN_MEMORY_BYTES = 8 * 1024 * 1024
ZIP: dict[int | str, dict[str, Any]] = {
    200: {
        "content": {"application/zip": {"schema": {"type": "string", "format": "binary"}}},
        "description": "Records as JSON, files as they came, photos, and the hash of each.",
    }
}


class ErasingAsked(Asked):
    """Why, and the customer's name once more, so that nobody is taken out by a slip."""

    full_name: Line
    reason: Annotated[Line, Field(min_length=1)]


class ErasedAnswer(Answer):
    """What was taken out. File names of pulls stay, because they are evidence; rename nothing that names a person."""

    customer_id: str
    vehicles: int
    tickets: int
    photos: int
    links_ended: int
    audit_details: int
    file_names_kept: int


class AwayCustomer(Answer):
    """A customer who was not here for longer than the shop's term."""

    id: str
    full_name: str
    last_seen_at: Instant


class KeepingAnswer(Answer):
    """What is due by the shop's own terms; null where none is set. `more_customers`: there are more than are listed."""

    keep_customers_months: int | None
    keep_photos_months: int | None
    customers: list[AwayCustomer]
    more_customers: bool
    photos: int


class DroppedAnswer(Answer):
    """How many photos went."""

    photos: int


@router.get(
    "/customers/{customer_id}/export",
    summary="Everything about a customer, as a zip",
    response_class=Response,
    responses=ZIP,
)
def export(customer_id: CustomerId, person: Owner, session: ReadSession, now: Now) -> Response:
    """Records, measurement files, photos. Nobody else's data and no token is in it."""
    shop = session.execute(select(Shop.name)).scalar_one_or_none() or ""
    kept: IO[bytes] = tempfile.SpooledTemporaryFile(max_size=_IN_MEMORY_BYTES)  # noqa: SIM115  closed when sent
    try:
        hand_over(session, customer_id, shop, now, kept)
    except BaseException:
        kept.close()
        raise
    size = kept.tell()
    kept.seek(0)
    headers = {
        "Content-Disposition": f'attachment; filename="customer-{customer_id}.zip"',
        "Content-Length": str(size),
        "Cache-Control": "no-store",
    }
    return StreamingResponse(_pieces(kept), headers=headers, media_type="application/zip")


def _pieces(kept: IO[bytes]) -> Iterator[bytes]:
    with kept:
        while piece := kept.read(256 * 1024):
            yield piece


@router.post("/customers/{customer_id}/erase", summary="Forget a customer", response_model=ErasedAnswer)
def forget(
    customer_id: CustomerId,
    asked: ErasingAsked,
    person: Owner,
    database: DatabaseDep,
    session: WriteSession,
    now: Now,
    afterwards: BackgroundTasks,
) -> Response:
    """Who it was goes for good; pulls stay and still verify. 409 while a car of theirs is here."""
    name = session.execute(select(Customer.full_name).where(Customer.id == customer_id)).scalar_one_or_none()
    if name is None:
        raise NotFound(f"There is no customer {customer_id}.")
    if asked.full_name.casefold() != name.casefold():
        problem = FieldProblem("full_name", asked.full_name, "the customer's name as it is on record")
        raise Invalid("That is not this customer's name; nobody was erased.", problem)
    afterwards.add_task(database.empty_log)  # once it is committed
    return Json(vars(erase(session, now, person.id, customer_id, asked.reason)))


@router.get("/keeping", summary="What is due by the shop's own terms", response_model=KeepingAnswer)
def keeping(person: Owner, session: ReadSession, now: Now) -> Response:
    """Customers longest away first, and how many photos are older than their term."""
    found = due(session, now)
    customers = [dict(row._mapping) for row in found.customers]
    return Json({**vars(found), "customers": customers})


@router.delete("/keeping/photos", summary="Drop photos past their term", response_model=DroppedAnswer)
def drop_photos(person: Owner, session: WriteSession, now: Now) -> Response:
    """Those older than the shop's own term; none where it has set none."""
    return Json({"photos": drop_old_photos(session, now, person.id)})
