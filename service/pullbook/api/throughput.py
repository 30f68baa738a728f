"""Throughput: what the shop did, month by month, and the tickets behind every figure."""

from typing import Annotated, Any
from zoneinfo import ZoneInfo

import numpy as np
from fastapi import Path, Query, Response
from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.api.listing import Limit
from pullbook.api.shaping import Answer, Word
from pullbook.db.months import COUNTED
from pullbook.db.stored_types import ID_PATTERN
from pullbook.db.tables import Shop
from pullbook.deps import Now, Owner, ReadSession
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.shop.charging import money_of
from pullbook.shop.looking_back import (
    MONTH_SHAPE,
    Figure,
    Month,
    figure_of,
    flags_of_month,
    months_and_not_over,
    months_back,
    not_over,
    refuse_uncounted,
    this_month,
    tickets_behind,
)
from pullbook.shop.taking_away import CSV_TYPE, NamedColumn, TakenAway, csv_bytes

router = LateRouter(prefix="/api/v1", tags=["throughput"])
UpTo = Annotated[
    str | None, Query(pattern=MONTH_SHAPE, description="The last month, 2026-11; the running one without.")
]
Many = Annotated[int, Query(ge=1, le=120, description="How many months up to that one.")]
TICKET_FIGURE = "Whose tickets; `income` with `kind_of_work`, `turnaround` adds seconds."


class IncomeAnswer(Answer):
    """A month's income from one kind of work, without tax."""

    kind_of_work: str
    net_cents: int


class MonthAnswer(Answer):
    """A month by the shop's clock. Hours in seconds, money in cents, figures as DEVELOPERS.md defines them."""

    month: str
    opened: int
    come_again: int
    done: int
    cancelled: int
    booked_s: int
    used_s: int
    pulls: int
    set_aside: int
    unreadable: int
    net_cents: int
    tax_cents: int
    paid_cents: int
    owed_cents: int
    overpaid_cents: int
    came_in_cents: int
    links_sent: int
    links_opened: int
    link_openings: int
    turnaround_median_s: int | None
    turnaround_90th_s: int | None
    income: list[IncomeAnswer]


class ThroughputAnswer(Answer):
    """Months, newest first, and what was charged on tickets that are not over yet."""

    time_zone: str
    currency: str
    items: list[MonthAnswer]
    not_over: MonthAnswer


class CountedTicketAnswer(Answer):
    """A ticket and what it adds to the figure: pieces, seconds or cents."""

    ticket_id: str
    number: int
    customer_name: str
    vehicle_title: str
    state: str
    added: int


class CountedTicketList(Answer):
    """A page of the tickets behind a figure, newest first; over all pages, `added` sums up to `figure`."""

    month: str
    figure: int
    items: list[CountedTicketAnswer]
    next: str | None


class FlagAnswer(Answer):
    """A flag and how many pulls carried it."""

    flag: str
    pulls: int


class MonthFlagsAnswer(Answer):
    """Flags of a month's pulls; `unread`: how many of them are still to be read."""

    month: str
    items: list[FlagAnswer]
    unread: int


def _zone_name(session: Session) -> str:
    return session.execute(select(Shop.time_zone)).scalar_one_or_none() or "UTC"


def _told(month: Month) -> dict[str, Any]:
    return {
        "month": month.month,
        **month.figures,
        "turnaround_median_s": month.turnaround_median_s,
        "turnaround_90th_s": month.turnaround_90th_s,
        "income": [{"kind_of_work": kind, "net_cents": cents} for kind, cents in month.kinds.items()],
    }


@router.get("/throughput", summary="Month by month", response_model=ThroughputAnswer)
def several(person: Owner, session: ReadSession, now: Now, month: UpTo = None, months: Many = 24) -> Response:
    """Newest first, by the shop's own clock. A month in which nothing happened is there with noughts."""
    refuse_uncounted(session)
    zone = _zone_name(session)
    found, rest = months_and_not_over(session, month or this_month(now, zone), months)
    return Json(
        {
            "time_zone": zone,
            "currency": money_of(session).currency,
            "items": [_told(one) for one in reversed(found)],
            "not_over": _told(rest),
        }
    )


@router.get("/throughput/{month}/tickets", summary="The tickets behind a figure", response_model=CountedTicketList)
def behind(
    month: Annotated[str, Path(pattern=rf"{MONTH_SHAPE[:-1]}$|^not-over$", description="2026-11, or not-over.")],
    person: Owner,
    session: ReadSession,
    figure: Annotated[Figure, Query(description=TICKET_FIGURE)] = "opened",
    kind_of_work: Word = "",
    cursor: Annotated[str | None, Query(pattern=ID_PATTERN, description="`next` of the page before.")] = None,
    limit: Limit = 50,
) -> Response:
    """Newest first; what they add sums up to the figure, a turnaround apart; both are counted at once."""
    refuse_uncounted(session)
    name = "" if month == "not-over" else month
    whole = months_back(session, name, 1)[0] if name else not_over(session)
    items, following = tickets_behind(session, name, figure, kind_of_work, cursor, limit)
    told = [{field: getattr(one, field) for field in CountedTicketAnswer.model_fields} for one in items]
    return Json({"month": month, "figure": figure_of(whole, figure, kind_of_work), "items": told, "next": following})


@router.get("/throughput/{month}/flags", summary="Flags of a month's pulls", response_model=MonthFlagsAnswer)
def flags(
    month: Annotated[str, Path(pattern=MONTH_SHAPE, description="2026-11.")], person: Owner, session: ReadSession
) -> Response:
    """By flag, the most frequent first, as each pull carried them when it was last read."""
    found, unread = flags_of_month(session, month, ZoneInfo(_zone_name(session)))
    items = [{"flag": code, "pulls": count} for code, count in found.items()]
    return Json({"month": month, "items": items, "unread": unread})


@router.get(
    "/throughput.csv",
    summary="Month by month as CSV",
    response_class=Response,
    responses={200: {"content": {"text/csv": {}}, "description": "Comment lines, one heading line, one row a month."}},
)
def as_csv(person: Owner, session: ReadSession, now: Now, month: UpTo = None, months: Many = 24) -> Response:
    """Earliest first: hours as hours, money in the shop's currency, an income column for each kind of work."""
    refuse_uncounted(session)
    zone, currency = _zone_name(session), money_of(session).currency
    last = month or this_month(now, zone)
    table = _table(months_back(session, last, months), zone, currency)
    told = {"Content-Disposition": f'attachment; filename="months-to-{last}.csv"', "Cache-Control": "no-store"}
    return Response(csv_bytes(table), media_type=CSV_TYPE, headers=told)


def _table(found: list[Month], zone: str, currency: str) -> TakenAway:
    columns = [NamedColumn("month", "Month", "", [one.month for one in found])]
    for name in COUNTED:
        unit, scale = {"s": ("h", 3600.0), "cents": (currency, 100.0)}.get(name.rpartition("_")[2], ("", 1.0))
        bare = name.removesuffix("_s").removesuffix("_cents") if unit else name
        values = [one.figures[name] / scale for one in found]
        called = f"{bare}_{unit.lower()}" if unit else bare
        columns.append(NamedColumn(called, bare.replace("_", " "), unit, np.array(values)))
    for name in ("turnaround_median_s", "turnaround_90th_s"):
        values = [np.nan if (value := getattr(one, name)) is None else value / 3600.0 for one in found]
        title = name.removesuffix("_s").replace("_", " ")
        columns.append(NamedColumn(f"{name.removesuffix('_s')}_h", title, "h", np.array(values)))
    for place, kind in enumerate(sorted({kind for one in found for kind in one.kinds})):
        income = np.array([one.kinds.get(kind, 0) / 100.0 for one in found])
        called = f"income_{place}_{currency.lower()}"
        columns.append(NamedColumn(called, f"income: {kind or 'no kind said'}", currency, income))
    told = (("months", f"by the clock of {zone}"), ("money", f"{currency}, income without tax"))
    return TakenAway(told, tuple(columns))
