"""The price list: what the shop sells by the piece or the hour."""

from typing import Annotated, Any

from fastapi import Path, Query, Response
from pydantic import Field, StringConstraints
from sqlalchemy import select

from pullbook.api.editing import apply, locked, record_making, refuse_stale
from pullbook.api.shaping import UNSET, Answer, Asked, Instant, Line, changes_of
from pullbook.db.money import PriceItem
from pullbook.deps import Now, Owner, ReadSession, SignedIn, WriteSession
from pullbook.errors import NotFound
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter

router = LateRouter(prefix="/api/v1/price-items", tags=["price-items"])
ItemId = Annotated[str, Path(description="The item's id.")]
ItemName = Annotated[Line, StringConstraints(min_length=1)]
Cents = Annotated[int, Field(ge=0, le=10**9, description="In the smallest coin of the shop's currency.")]
TaxRate = Annotated[int, Field(ge=0, le=10_000, description="In hundredths of a per cent: 2000 is 20 %.")]


class NewItem(Asked):
    """An item. `kind_of_work` is what the month's income is told by; `unit` a word: hour, piece."""

    name: ItemName
    kind_of_work: Line = ""
    unit: Line = ""
    unit_price_cents: Cents
    tax_rate_bp: TaxRate = 0


class ItemChange(Asked):
    """What to change. Charges that were made keep the price they were made at."""

    version: int
    name: ItemName = UNSET
    kind_of_work: Line = UNSET
    unit: Line = UNSET
    unit_price_cents: Cents = UNSET
    tax_rate_bp: TaxRate = UNSET
    on_the_list: bool = UNSET


class ItemAnswer(Answer):
    """An item. `retired_at`: from then on it is no longer offered."""

    id: str
    name: str
    kind_of_work: str
    unit: str
    unit_price_cents: int
    tax_rate_bp: int
    retired_at: Instant | None
    version: int


class ItemList(Answer):
    """The price list by kind of work and name, in one list."""

    items: list[ItemAnswer]
    next: str | None


def _told(row: PriceItem) -> dict[str, Any]:
    return {name: getattr(row, name) for name in ItemAnswer.model_fields}


@router.post("", status_code=201, summary="Add to the price list", response_model=ItemAnswer)
def add(asked: NewItem, person: Owner, session: WriteSession, now: Now) -> Response:
    """It can be charged at once."""
    row = PriceItem(**asked.model_dump(), made_at=now, made_by=person.id)
    session.add(row)
    session.flush()
    record_making(session, now, person.id, row, asked.model_dump(), "price_item")
    return Json(_told(row), 201)


@router.get("", summary="The price list", response_model=ItemList)
def several(
    person: SignedIn,
    session: ReadSession,
    retired: Annotated[bool, Query(description="Those no longer offered as well.")] = False,
) -> Response:
    """By kind of work and name."""
    statement = select(PriceItem).order_by(PriceItem.kind_of_work, PriceItem.name, PriceItem.id)
    if not retired:
        statement = statement.where(PriceItem.retired_at.is_(None))
    return Json({"items": [_told(row) for row in session.scalars(statement)], "next": None})


@router.get("/{item_id}", summary="One item of the price list", response_model=ItemAnswer)
def get(item_id: ItemId, person: SignedIn, session: ReadSession) -> Response:
    """As it is now."""
    row = session.get(PriceItem, item_id)
    if row is None:
        raise NotFound(f"There is no item {item_id} on the price list.")
    return Json(_told(row))


@router.patch("/{item_id}", summary="Change an item of the price list", response_model=ItemAnswer)
def change(item_id: ItemId, asked: ItemChange, person: Owner, session: WriteSession, now: Now) -> Response:
    """Only the fields sent; what was charged before keeps its price."""
    row, changes = locked(session, PriceItem, item_id, "item"), changes_of(asked)
    if (offered := changes.pop("on_the_list", None)) is not None and offered != (row.retired_at is None):
        changes["retired_at"] = None if offered else now
    refuse_stale(row, asked.version, changes, "item")
    apply(session, now, person.id, row, changes, "price_item")
    session.flush()
    return Json(_told(row))
