"""The archive: any pull on record, found by words and by what it is."""

from dataclasses import asdict
from datetime import date, datetime, time, timedelta
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo

from fastapi import Depends, Path, Query, Response
from sqlalchemy import select

from pullbook.api.archive_shapes import FiguresAnswer, FoundList, LikeAnswer
from pullbook.api.listing import Cursor, Find, Limit
from pullbook.api.shaping import Word
from pullbook.db.people import Shop
from pullbook.deps import Desk, ReadSession, SignedIn, WriteSession
from pullbook.errors import FieldProblem, Invalid
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.shop.archiving import look
from pullbook.shop.figuring import how_many_due, read_due
from pullbook.shop.likening import AIR_WITHIN_PCT, cars_like
from pullbook.shop.narrowing import LookedFor
from pullbook.shop.outlining import outlines

router = LateRouter(prefix="/api/v1", tags=["archive"])

Figure = Annotated[float | None, Query(ge=0, le=1e9, allow_inf_nan=False)]
Day = Annotated[date | None, Query(description="A day on the shop's own calendar.")]
Kind = Literal["sweep", "hold", "coast_down", "part_throttle"]


def refuse_turned_round(name: str, low: Any, high: Any) -> None:
    """Invalid for a range that ends before it begins."""
    if low is not None and high is not None and high < low:
        raise Invalid(f"{name} ends before it begins.", FieldProblem(f"{name}_to", str(high), f"{low} or more"))


def day_begins(session: ReadSession, day: date | None, days: int = 0) -> datetime | None:
    """The instant at which a day begins by the shop's clock; Invalid for one out of reach."""
    if day is None:
        return None
    if not 1900 <= day.year <= 2200:
        raise Invalid("That day is out of reach.", FieldProblem("taken", day.isoformat(), "a day of 1900 to 2200"))
    zone = ZoneInfo(session.scalar(select(Shop.time_zone)) or "UTC")
    return datetime.combine(day + timedelta(days=days), time(), zone)


def looked_for(
    session: ReadSession,
    find: Find = None,
    make: Annotated[Word, Query(description="Only this make.")] = "",
    model: Annotated[Word, Query(description="Only this model.")] = "",
    model_year: Annotated[int | None, Query(ge=1885, le=2200, description="Only of this model year.")] = None,
    taken_from: Day = None,
    taken_to: Day = None,
    power_from_w: Figure = None,
    power_to_w: Figure = None,
    torque_from_nm: Figure = None,
    torque_to_nm: Figure = None,
    flag: Annotated[Word, Query(description="Only those that carried this flag when they were last read.")] = "",
    cell_id: Annotated[str, Query(max_length=40, description="Only of this cell.")] = "",
    kind: Kind | None = None,
    set_aside: Annotated[bool | None, Query(description="Only set aside, or only those that count.")] = None,
) -> LookedFor:
    """What is asked for; Invalid where a range ends before it begins."""
    refuse_turned_round("power", power_from_w, power_to_w)
    refuse_turned_round("torque", torque_from_nm, torque_to_nm)
    refuse_turned_round("taken", taken_from, taken_to)
    return LookedFor(
        words=find or "",
        make=make,
        model=model,
        model_year=model_year,
        taken_from=day_begins(session, taken_from),
        taken_before=day_begins(session, taken_to, days=1),
        power_from_w=power_from_w,
        power_to_w=power_to_w,
        torque_from_nm=torque_from_nm,
        torque_to_nm=torque_to_nm,
        flag=flag,
        cell_id=cell_id,
        kind=kind or "",
        set_aside=set_aside,
    )


@router.get("/archive", summary="Find pulls", response_model=FoundList)
def several(
    person: SignedIn,
    session: ReadSession,
    looked: Annotated[LookedFor, Depends(looked_for)],
    cursor: Cursor = None,
    limit: Limit = 50,
) -> Response:
    """By customer, plate, VIN, car, part, note, ticket, date, figure or flag. Figures here only find; a curve is read.

    Latest taken first; with words the newest job first. Counts by make and year are of the newest thousand found.
    """
    hits = look(session, looked, cursor, limit)
    counted = hits.counted
    return Json(
        {
            "items": [asdict(one) for one in outlines(session, hits.pull_ids)],
            "next": hits.next,
            "counted": counted
            and {
                "pulls": counted.pulls,
                "more": counted.more,
                "makes": [{"make": make, "pulls": pulls} for make, pulls in counted.makes],
                "model_years": [{"model_year": year, "pulls": pulls} for year, pulls in counted.years],
            },
            "due": how_many_due(session) if looked.asks_figures else 0,
        }
    )


@router.post("/archive/figures", summary="Read figures that are due", response_model=FiguresAnswer)
def read_figures(person: Desk, session: WriteSession) -> Response:
    """Those whose weather, calibration, map or car changed since they were last read, the newest first, a few."""
    read = read_due(session)
    session.flush()
    return Json({"read": read, "due": how_many_due(session)})


@router.get("/pulls/{pull_id}/like", summary="Cars like this one", response_model=LikeAnswer)
def like(
    pull_id: Annotated[str, Path(description="The pull's id.")], person: SignedIn, session: ReadSession
) -> Response:
    """The best pull of each setup of cars like this one, taken in air like its own, to be compared."""
    likeness = cars_like(session, pull_id)
    return Json({**asdict(likeness), "air_within_pct": AIR_WITHIN_PCT})
