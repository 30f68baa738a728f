"""Lists: newest first, a page at a time, by the key of the last row and never by counting past rows."""

from collections.abc import Sequence
from typing import Annotated, Any

from fastapi import Query
from sqlalchemy import select, tuple_
from sqlalchemy.orm import Session

from pullbook.api.shaping import Word
from pullbook.errors import FieldProblem, Invalid

Cursor = Annotated[str | None, Query(max_length=40, description="`next` of the page before; newest first without it.")]
Limit = Annotated[int, Query(ge=1, le=500, description="How many rows to a page.")]
Find = Annotated[Word | None, Query(description="Words that must all occur; case and accents alike.")]


def page(
    session: Session,
    statement: Any,
    order: Sequence[Any],
    cursor: str | None,
    limit: int,
) -> tuple[Sequence[Any], str | None]:
    """Up to `limit` rows by `order`, falling; the last of `order` is the record's id, which is also the cursor."""
    identity = order[-1]
    if cursor:
        key = session.execute(select(*order).where(identity == cursor)).one_or_none()
        if key is None:
            raise Invalid(
                f"cursor {cursor!r} is not one that a page gave.",
                FieldProblem("cursor", cursor, "send back `next` as the page gave it, or leave it out"),
            )
        statement = statement.where(tuple_(*order) < tuple_(*key, types=[column.type for column in order]))
    rows = session.execute(statement.order_by(*(column.desc() for column in order)).limit(limit + 1)).all()
    more = len(rows) > limit
    rows = rows[:limit]
    return rows, (rows[-1].id if more else None)
