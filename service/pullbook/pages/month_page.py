"""The owner's month: every figure beside the month before and the same month a year ago, and the tickets behind it."""

from calendar import monthrange
from collections.abc import Sequence
from typing import Annotated
from zoneinfo import ZoneInfo

from fastapi import Query, Request
from starlette.responses import Response

from pullbook.db.stored_types import ID_PATTERN
from pullbook.deps import Now, Owner, ReadSession
from pullbook.late_routes import LateRouter
from pullbook.month_svg import Bars, bars_svg
from pullbook.pages.month_shown import (
    FigureCell,
    FigureGroup,
    FigureLine,
    FlagCount,
    MonthFlagsPage,
    MonthPage,
    MonthsTable,
    MonthTicketsPage,
    TicketBehind,
)
from pullbook.pages.month_words import (
    GROUPS,
    Told,
    change_words,
    figure_words,
    month_short,
    month_words,
    span_words,
    told_of,
    value_words,
)
from pullbook.pages.render import draw, frame, shop_row
from pullbook.pages.words import FLAG_WORDS
from pullbook.shop.charging import money_of
from pullbook.shop.counting import months_from
from pullbook.shop.keeping_count import is_counted
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

router = LateRouter(include_in_schema=False)

MONTHS_DRAWN = 24
TICKETS_SHOWN = 60
NOT_OVER_FIGURES = ("net_cents", "tax_cents", "paid_cents", "owed_cents", "overpaid_cents")
TABLE = ("opened", "done", "cancelled", "turnaround", "pulls", "booked_s", "used_s", "net_cents", "came_in_cents")


@router.get("/month")
def month(
    request: Request,
    session: ReadSession,
    person: Owner,
    now: Now,
    month: Annotated[str | None, Query(pattern=MONTH_SHAPE)] = None,
) -> Response:
    """What the shop did in a month, beside the month before and the same month a year ago."""
    shop = shop_row(session)
    around = frame(request, shop, person, "month")
    running = this_month(now, around.time_zone)
    last = month or running
    counted, currency = is_counted(session), money_of(session).currency
    found, rest = months_and_not_over(session, last, MONTHS_DRAWN)
    compared = (found[-1], found[-2], found[-13])
    page = MonthPage(
        month=last,
        title=month_words(last),
        is_running=last == running,
        is_counted=counted,
        is_empty=found[-1].is_empty,
        earlier=months_from(last, -1),
        later=months_from(last, 1) if last < running else "",
        compared=tuple(month_short(one.month) for one in compared),
        groups=tuple(_groups(compared)),
        drawings=tuple(_drawings(found, currency)),
        table=_table(found, currency),
        not_over=_not_over(rest),
        currency=currency,
    )
    return draw(around, page)


def _groups(compared: Sequence[Month]) -> list[FigureGroup]:
    groups = []
    for title, figures in GROUPS.items():
        lines = [_line(compared, figure, "", one) for figure, one in figures.items() if _is_told(compared, figure)]
        if title == "Income":
            kinds = sorted({kind for one in compared for kind in one.kinds})
            lines[1:1] = [_line(compared, "income", kind, told_of("income", kind)) for kind in kinds]
        groups.append(FigureGroup(title, tuple(lines)))
    return groups


def _is_told(compared: Sequence[Month], figure: str) -> bool:
    """What is seldom anything is left out where it is nothing."""
    return figure not in ("overpaid_cents", "unreadable") or any(one.figures[figure] for one in compared)


def _line(compared: Sequence[Month], figure: str, kind: str, told: Told) -> FigureLine:
    this, behind = compared[0], figure.removesuffix("_90th")
    cells = [
        FigureCell(
            month=one.month,
            value=figure_words(one, figure, kind),
            change="" if one is this or one.is_empty else change_words(this, one, figure, kind),
            empty=not figure_of(one, behind, kind),
        )
        for one in compared
    ]
    return FigureLine(told.title, told.counts, behind, kind, tuple(cells))


def _drawings(found: Sequence[Month], currency: str) -> list[str]:
    names, read = [one.month for one in found], found[-1].month

    def of(name: str, scale: float = 1.0) -> list[float]:
        return [one.figures[name] / scale for one in found]

    turned = [None if one.turnaround_median_s is None else one.turnaround_median_s / 3600.0 for one in found]
    ninth = [None if one.turnaround_90th_s is None else one.turnaround_90th_s / 3600.0 for one in found]
    panels = (
        Bars("Jobs done; dots: tickets opened", names, of("done"), of("opened")),
        Bars("Pulls", names, of("pulls")),
        Bars("Hours used; dots: booked", names, of("used_s", 3600.0), of("booked_s", 3600.0)),
        Bars("Turnaround in hours, median; dots: nine in ten", names, turned, ninth),
        Bars(f"Income without tax, {currency}", names, of("net_cents", 100.0)),
        Bars(f"Money that came in, {currency}", names, of("came_in_cents", 100.0)),
    )
    return [svg for one in panels if (svg := bars_svg(one, read))]


def _table(found: Sequence[Month], currency: str) -> MonthsTable:
    titles = [told_of(name, "") for name in TABLE]
    headings = [f"{one.title}, {currency}" if one.kind == "money" else one.title for one in titles]
    rows = [
        (one.month, month_words(one.month), tuple("" if one.is_empty else figure_words(one, name) for name in TABLE))
        for one in reversed(found)
    ]
    return MonthsTable(tuple(headings), tuple(rows))


def _not_over(waiting: Month) -> tuple[tuple[str, str, str], ...]:
    return tuple(
        (name, told_of(name, "").title, value_words("money", waiting.figures[name]))
        for name in NOT_OVER_FIGURES
        if waiting.figures[name]
    )


@router.get("/month/tickets")
def month_tickets(
    request: Request,
    session: ReadSession,
    person: Owner,
    month: Annotated[str, Query(pattern=rf"{MONTH_SHAPE}|^not-over$")],
    figure: Figure = "opened",
    kind: Annotated[str, Query(max_length=200)] = "",
    cursor: Annotated[str | None, Query(pattern=ID_PATTERN)] = None,
) -> Response:
    """The tickets that a figure of the month counts."""
    refuse_uncounted(session)
    name = "" if month == "not-over" else month
    whole = months_back(session, name, 1)[0] if name else not_over(session)
    told = told_of(figure, kind)
    found, following = tickets_behind(session, name, figure, kind, cursor, TICKETS_SHOWN)
    page = MonthTicketsPage(
        month=month,
        title=month_words(name) if name else "Tickets that are not over yet",
        figure=figure,
        kind=kind,
        figure_title=told.title,
        counts=told.counts if name else "Of tickets that are neither collected nor cancelled.",
        value=figure_words(whole, figure, kind),
        is_count=told.kind == "count" and all(one.added == 1 for one in found),
        tickets=tuple(
            TicketBehind(
                one.ticket_id,
                one.number,
                one.customer_name,
                one.vehicle_title,
                one.state,
                span_words(one.added) if figure == "turnaround" else value_words(told.kind, one.added),
            )
            for one in found
        ),
        following=following,
    )
    return draw(frame(request, shop_row(session), person, "month"), page)


@router.get("/month/flags")
def month_flags(
    request: Request,
    session: ReadSession,
    person: Owner,
    month: Annotated[str, Query(pattern=MONTH_SHAPE)],
) -> Response:
    """Which flags a month's pulls carried when they were last read."""
    around = frame(request, shop_row(session), person, "month")
    found, unread = flags_of_month(session, month, ZoneInfo(around.time_zone))
    page = MonthFlagsPage(
        month=month,
        title=month_words(month),
        flags=tuple(
            FlagCount(code, FLAG_WORDS.get(code, code.replace("_", " ")), many) for code, many in found.items()
        ),
        unread=unread,
        first_day=f"{month}-01",
        last_day=f"{month}-{monthrange(int(month[:4]), int(month[5:]))[1]}",
    )
    return draw(around, page)
