"""Looking back: months as they were counted, and the tickets behind any figure of one.

A page of months reads two dozen rows of sums, however many pulls there are.
"""

from collections.abc import Sequence
from dataclasses import field
from datetime import datetime
from typing import Any, Literal, get_args
from zoneinfo import ZoneInfo

from sqlalchemy import Text, bindparam, func, literal_column, select, union_all
from sqlalchemy.orm import Session

from pullbook.db.found import FoundFlag, FoundPull
from pullbook.db.months import COUNTED, MonthKindOfTicket, MonthKindTotal, MonthOfTicket, MonthTotal
from pullbook.db.tables import Customer, Ticket, Vehicle
from pullbook.errors import NotReady
from pullbook.late_methods import dataclass
from pullbook.shop.counting import NOT_OVER, month_of, month_starts, months_from
from pullbook.shop.keeping_count import is_counted

MONTH_SHAPE = r"^(19|20|21)\d\d-(0[1-9]|1[0-2])$"
Figure = Literal[
    "opened",
    "come_again",
    "done",
    "cancelled",
    "turnaround",
    "booked_s",
    "used_s",
    "pulls",
    "set_aside",
    "unreadable",
    "income",
    "net_cents",
    "tax_cents",
    "paid_cents",
    "owed_cents",
    "overpaid_cents",
    "came_in_cents",
    "links_sent",
    "links_opened",
    "link_openings",
]
FIGURES: tuple[str, ...] = get_args(Figure)


@dataclass(frozen=True, slots=True)
class Month:
    """One month's figures: whole numbers by the names of COUNTED; turnarounds in seconds, none without a job done."""

    month: str
    figures: dict[str, int]
    turnaround_median_s: int | None = None
    turnaround_90th_s: int | None = None
    kinds: dict[str, int] = field(default_factory=dict)  # cents without tax by kind of work

    @property
    def is_empty(self) -> bool:
        """Whether nothing at all happened in it."""
        return not any(self.figures.values())


@dataclass(frozen=True, slots=True)
class CountedTicket:
    """A ticket and what it adds to a figure: pieces, seconds or cents."""

    ticket_id: str
    number: int
    customer_name: str
    vehicle_title: str
    state: str
    added: int


def refuse_uncounted(session: Session) -> None:
    """NotReady where what is kept was counted by another version, or not at all."""
    if not is_counted(session):
        raise NotReady(
            "The months are not counted yet, or were counted by another version. On the machine that runs the service, "
            "`pullbook months rebuild` counts them; nothing that is on record changes."
        )


def this_month(now: datetime, time_zone: str) -> str:
    """The month that runs by the shop's clock."""
    return month_of(now, ZoneInfo(time_zone))


def months_back(session: Session, last: str, many: int) -> list[Month]:
    """So many months up to this one, earliest first; a month without anything has noughts. Incomes by kind included."""
    return _months(session, [months_from(last, place - many + 1) for place in range(many)])


def months_and_not_over(session: Session, last: str, many: int) -> tuple[list[Month], Month]:
    """The same, and what `not_over` gives, in one go."""
    *months, rest = _months(session, [*(months_from(last, place - many + 1) for place in range(many)), NOT_OVER])
    return months, rest


def not_over(session: Session) -> Month:
    """What was charged and paid on tickets that are not over yet."""
    return _months(session, [NOT_OVER])[0]


# built once, sums and incomes by kind in one statement: the way there and back is most of what a page of months costs
_FROM, _TO, _ALSO = (
    bindparam("first_month", type_=Text),
    bindparam("last_month", type_=Text),
    bindparam("also", type_=Text),
)
_SUMS = ("turnaround_median_s", "turnaround_90th_s", *COUNTED)
_ROWS: Any = union_all(
    select(
        literal_column("NULL").label("kind"), MonthTotal.month, *(getattr(MonthTotal, name) for name in _SUMS)
    ).where(MonthTotal.month.between(_FROM, _TO) | (MonthTotal.month == _ALSO)),
    select(
        MonthKindTotal.kind_of_work,
        MonthKindTotal.month,
        MonthKindTotal.net_cents,
        *(literal_column("NULL") for _ in _SUMS[1:]),
    )
    .where(MonthKindTotal.month.between(_FROM, _TO) | (MonthKindTotal.month == _ALSO))
    .where(MonthKindTotal.net_cents != 0),
)


def _months(session: Session, names: Sequence[str]) -> list[Month]:
    """Months of these names: one run of them and, last, perhaps what belongs to none."""
    run = [name for name in names if name != NOT_OVER] or [NOT_OVER]
    kept: dict[str, Month] = {}
    kinds: list[tuple[str, str, int]] = []
    told = {"first_month": run[0], "last_month": run[-1], "also": names[-1]}
    for kind, month, first, *figures in session.connection().execute(_ROWS, told).all():
        if kind is None:
            kept[month] = Month(month, dict(zip(COUNTED, figures[1:], strict=True)), first, figures[0])
        else:
            kinds.append((kind, month, first))
    found = {name: kept.get(name) or Month(name, dict.fromkeys(COUNTED, 0)) for name in names}
    for kind, month, cents in sorted(kinds):
        found[month].kinds[kind] = cents
    return list(found.values())


def figure_of(month: Month, figure: str, kind: str = "") -> int:
    """A month's figure: what the tickets behind it add up to. Of turnarounds, how many there are."""
    if figure == "income":
        return month.kinds.get(kind, 0)
    return month.figures["done" if figure == "turnaround" else figure]


def tickets_behind(
    session: Session, month: str, figure: str, kind: str, cursor: str | None, limit: int
) -> tuple[list[CountedTicket], str | None]:
    """The tickets that a figure counts, newest first, and the id to go on from; none where these are the last."""
    heads = _heads(month, figure, kind, cursor).limit(limit + 1).subquery()
    car = (Vehicle.model_year, Vehicle.make, Vehicle.model)
    shown = (heads.c.ticket_id, Ticket.number, Customer.full_name, *car, Ticket.state, heads.c.added)
    found = session.execute(
        select(*shown)
        .join(Ticket, Ticket.id == heads.c.ticket_id)
        .join(Customer, Customer.id == Ticket.customer_id)
        .join(Vehicle, Vehicle.id == Ticket.vehicle_id)
        .order_by(heads.c.ticket_id.desc())
    ).all()
    told = [
        CountedTicket(one, number, name, " ".join(str(part) for part in parts if part), state, count)
        for one, number, name, *parts, state, count in found[:limit]
    ]
    return told, told[-1].ticket_id if len(found) > limit else None


def _heads(month: str, figure: str, kind: str, cursor: str | None) -> Any:
    """Ids and what each adds, alone: the join with what is shown of them must not decide the order."""
    rows: Any = MonthKindOfTicket if figure == "income" else MonthOfTicket
    if figure == "income":
        added, chosen = rows.net_cents, [rows.kind_of_work == kind, rows.net_cents != 0]
    elif figure == "turnaround":
        added, chosen = rows.turnaround_s, [rows.turnaround_s.is_not(None)]
    else:
        added = getattr(rows, figure)
        chosen = [added != 0]
    if cursor:
        chosen.append(rows.ticket_id < cursor)
    return (
        select(rows.ticket_id, added.label("added")).where(rows.month == month, *chosen).order_by(rows.ticket_id.desc())
    )


def flags_of_month(session: Session, month: str, zone: ZoneInfo) -> tuple[dict[str, int], int]:
    """By flag, how many pulls of a month carried it when they were last read; and how many are still to be read.

    Counted when asked for, over the month's pulls: what is flagged changes with every reading, and no ticket says so.
    """
    first, last = month_starts(month, zone), month_starts(months_from(month, 1), zone)
    taken = (FoundPull.taken_at >= first, FoundPull.taken_at < last)
    found = session.execute(
        select(FoundFlag.code, func.count())
        .join(FoundPull, FoundPull.pull_id == FoundFlag.pull_id)
        .where(*taken)
        .group_by(FoundFlag.code)
        .order_by(func.count().desc(), FoundFlag.code)
    )
    unread = select(func.count()).select_from(FoundPull).where(*taken, FoundPull.method_version == "")
    return {row.code: row[1] for row in found}, session.execute(unread).scalar_one()
