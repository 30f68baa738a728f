"""What a month came to: index rows, kept in the transaction of what they count, that can be made again at any time.

Nothing here is truth. `month_of_ticket` says what each ticket adds to a month and is what a drill-down lists;
`month_total` is its sum, month by month, and is all that the owner's page reads. A month is `2026-11` by the shop's
clock; the empty one holds the charges of tickets that are not over yet.
"""

from sqlalchemy import Index
from sqlalchemy.orm import Mapped, mapped_column

from pullbook.db.schema import STRICT, Table, reference, rule

COUNTED = (
    # every column of both tables that can be added up, in the order of the page
    "opened",
    "come_again",
    "done",
    "cancelled",
    "booked_s",
    "used_s",
    "pulls",
    "set_aside",
    "unreadable",
    "net_cents",
    "tax_cents",
    "paid_cents",
    "owed_cents",
    "overpaid_cents",
    "came_in_cents",
    "links_sent",
    "links_opened",
    "link_openings",
)


class _Counted:
    """What can be counted of a ticket in a month, and of a month."""

    opened: Mapped[int]
    come_again: Mapped[int]
    done: Mapped[int]
    cancelled: Mapped[int]
    booked_s: Mapped[int]
    used_s: Mapped[int]
    pulls: Mapped[int]
    set_aside: Mapped[int]
    unreadable: Mapped[int]
    net_cents: Mapped[int]
    tax_cents: Mapped[int]
    paid_cents: Mapped[int]
    owed_cents: Mapped[int]
    overpaid_cents: Mapped[int]
    came_in_cents: Mapped[int]
    links_sent: Mapped[int]
    links_opened: Mapped[int]
    link_openings: Mapped[int]


class MonthOfTicket(_Counted, Table):
    """What one ticket adds to one month. `turnaround_s` stands in the month in which the ticket was done."""

    __tablename__ = "month_of_ticket"
    __table_args__ = (
        Index(None, "month", "ticket_id"),
        Index("ix_month_of_ticket_turnaround", "month", "turnaround_s"),
        STRICT,
    )
    ticket_id: Mapped[str] = reference("ticket.id", primary_key=True)
    month: Mapped[str] = mapped_column(primary_key=True)
    turnaround_s: Mapped[int | None]


class MonthKindOfTicket(Table):
    """What one ticket adds to a month's income from one kind of work, without tax."""

    __tablename__ = "month_kind_of_ticket"
    __table_args__ = (Index(None, "month", "kind_of_work", "ticket_id"), STRICT)
    ticket_id: Mapped[str] = reference("ticket.id", primary_key=True)
    month: Mapped[str] = mapped_column(primary_key=True)
    kind_of_work: Mapped[str] = mapped_column(primary_key=True)
    net_cents: Mapped[int]


class MonthTotal(_Counted, Table):
    """A month's sums; of its turnarounds the median and the 90th percentile, exact, in seconds."""

    __tablename__ = "month_total"
    __table_args__ = (STRICT,)
    month: Mapped[str] = mapped_column(primary_key=True)
    turnaround_median_s: Mapped[int | None]
    turnaround_90th_s: Mapped[int | None]


class MonthKindTotal(Table):
    """A month's income from one kind of work, without tax."""

    __tablename__ = "month_kind_total"
    __table_args__ = (STRICT,)
    month: Mapped[str] = mapped_column(primary_key=True)
    kind_of_work: Mapped[str] = mapped_column(primary_key=True)
    net_cents: Mapped[int]


class MonthsKept(Table):
    """How the rows above were counted: one row. Whoever counts holds it, so that counting anew has it to itself."""

    __tablename__ = "months_kept"
    __table_args__ = (rule("only_one", "id = 1"), STRICT)
    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    counting_version: Mapped[int]  # 0: not counted yet
    time_zone: Mapped[str]
    prices_include_tax: Mapped[bool]
