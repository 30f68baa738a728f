"""Free times: where a cell can still be booked."""

from datetime import date
from typing import Annotated, Literal
from zoneinfo import ZoneInfo

from fastapi import Query, Response

from pullbook.api.shaping import Answer, Instant
from pullbook.deps import Now, ReadSession, SignedIn
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.shop.day_planning import free_times, zone_of

router = LateRouter(prefix="/api/v1/free-times", tags=["free-times"])
Day = Annotated[date | None, Query(description="From this day of the shop's own time zone on; from today without it.")]


class FreeTimeAnswer(Answer):
    """A stretch in which nothing holds the cell."""

    cell_id: str
    cell_name: str
    drive: Literal["two_wheel", "all_wheel"]
    begins_at: Instant
    ends_at: Instant


class FreeTimeList(Answer):
    """By time and cell, in one list."""

    items: list[FreeTimeAnswer]
    next: str | None


@router.get("", summary="Where cells are free", response_model=FreeTimeList)
def several(
    person: SignedIn,
    session: ReadSession,
    now: Now,
    day: Day = None,
    days: Annotated[int, Query(ge=1, le=31, description="How many days.")] = 7,
) -> Response:
    """From 08:00 to 18:00 of each day by the shop's clock, nothing before now."""
    first = day or now.astimezone(ZoneInfo(zone_of(session))).date()
    found = free_times(session, first, days, now)
    items = [{name: getattr(one, name) for name in FreeTimeAnswer.model_fields} for one in found]
    return Json({"items": items, "next": None})
