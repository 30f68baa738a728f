"""Keeping count: a transaction that touches a ticket counts it anew before it commits, and moves the sums by the rest.

A ticket is never added to in passing: everything on record of it is read and counted, and what it added before is taken
away. So no order of writes can lead the sums astray, and counting everything from nothing gives the same rows.

On PostgreSQL the ticket's row is held first, so that of two who write to one ticket the second sees what the first
wrote; then months in their order, each added to under its own lock. The trail's queue is taken after all of these.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import field
from typing import Any, cast
from zoneinfo import ZoneInfo

from sqlalchemy import Table, bindparam, delete, event, func, insert, select, update
from sqlalchemy.orm import Session

from pullbook.db.months import COUNTED, MonthKindOfTicket, MonthKindTotal, MonthOfTicket, MonthsKept, MonthTotal
from pullbook.db.people import Shop
from pullbook.db.tables import Ticket
from pullbook.db.touched import Touched, WritingSession, take_touched
from pullbook.db.upserting import adding_up, replacing
from pullbook.late_methods import dataclass
from pullbook.shop.counting import COUNTING_VERSION, Added, Rules, TicketRecords, added_by
from pullbook.shop.gathering import first_tickets, records_between, records_of, turns_of

AT_ONCE = 1000  # tickets to a batch when everything is counted
_OF_TICKET, _KIND_OF_TICKET, _TOTAL, _KIND_TOTAL, _KEPT = (
    cast("Table", kind.__table__) for kind in (MonthOfTicket, MonthKindOfTicket, MonthTotal, MonthKindTotal, MonthsKept)
)
_TICKET = cast("Table", Ticket.__table__)
_IDS = bindparam("ticket_ids", expanding=True, type_=_TICKET.c.id.type)
_TICKETS_HELD = (
    select(_TICKET.c.id).where(_TICKET.c.id.in_(_IDS)).order_by(_TICKET.c.id).with_for_update(key_share=True)
)
_CUSTOMERS = select(_TICKET.c.customer_id).where(_TICKET.c.id.in_(_IDS)).distinct()
_ADDED = select(
    _OF_TICKET.c.ticket_id, _OF_TICKET.c.month, _OF_TICKET.c.turnaround_s, *(_OF_TICKET.c[name] for name in COUNTED)
).where(_OF_TICKET.c.ticket_id.in_(_IDS))
_ADDED_KINDS = select(_KIND_OF_TICKET).where(_KIND_OF_TICKET.c.ticket_id.in_(_IDS))
_DROP = delete(_OF_TICKET).where(
    _OF_TICKET.c.ticket_id == bindparam("of_ticket", type_=_OF_TICKET.c.ticket_id.type),
    _OF_TICKET.c.month == bindparam("of_month"),
)
_DROP_KIND = delete(_KIND_OF_TICKET).where(
    _KIND_OF_TICKET.c.ticket_id == bindparam("of_ticket", type_=_OF_TICKET.c.ticket_id.type),
    _KIND_OF_TICKET.c.month == bindparam("of_month"),
    _KIND_OF_TICKET.c.kind_of_work == bindparam("of_kind"),
)
_TURNAROUNDS = select(_OF_TICKET.c.turnaround_s).where(
    _OF_TICKET.c.month == bindparam("of_month"), _OF_TICKET.c.turnaround_s.is_not(None)
)
_HOW_MANY = select(func.count()).select_from(_TURNAROUNDS.subquery())
_RANKED = _TURNAROUNDS.order_by(_OF_TICKET.c.turnaround_s).offset(bindparam("from_rank")).limit(bindparam("ranks"))
_SET_TURNAROUND = update(_TOTAL).where(_TOTAL.c.month == bindparam("of_month"))


@dataclass(slots=True)
class _Moves:
    """By how much sums move, and in which months a turnaround changed."""

    months: dict[str, list[int]] = field(default_factory=lambda: defaultdict(lambda: [0] * len(COUNTED)))
    kinds: dict[tuple[str, str], int] = field(default_factory=lambda: defaultdict(int))
    turned: set[str] = field(default_factory=set)

    def by(self, before: Added, after: Added) -> None:
        """One ticket added that, and adds this now."""
        for one, sign in ((before, -1), (after, 1)):
            for month, figures in one.months.items():
                self.months[month] = [sum_ + sign * n for sum_, n in zip(self.months[month], figures, strict=True)]
            for key, cents in one.kinds.items():
                self.kinds[key] += sign * cents
        for month in before.turnaround_s.keys() | after.turnaround_s.keys():
            if before.turnaround_s.get(month) != after.turnaround_s.get(month):
                self.turned.add(month)


@event.listens_for(WritingSession, "before_commit")
def count_touched(session: Session) -> None:
    """Count anew what this transaction touched; everything, where the shop's clock or its way of telling prices did."""
    session.flush()
    touched = take_touched(session)
    if touched is None:
        return
    kept = session.execute(select(_KEPT).with_for_update(read=not touched.shop)).one_or_none()
    if kept is None or kept.counting_version != COUNTING_VERSION:
        return  # nothing is kept that could be kept right; `rebuild` makes it
    rules = Rules(ZoneInfo(kept.time_zone), kept.prices_include_tax)
    if touched.shop and rules != rules_of(session):
        rebuild(session)
    elif touched.tickets or touched.customers:
        _count_tickets(session, touched, rules)


def rules_of(session: Session) -> Rules:
    """What the shop's settings say now."""
    row = session.execute(select(Shop.time_zone, Shop.prices_include_tax)).one_or_none()
    return Rules(ZoneInfo(row.time_zone if row else "UTC"), bool(row and row.prices_include_tax))


def _count_tickets(session: Session, touched: Touched, rules: Rules) -> None:
    new = [ticket_id for ticket_id, is_new in touched.tickets.items() if is_new]
    customers = {*touched.customers, *_held(session, _CUSTOMERS, new)} if new else touched.customers
    # a customer's first ticket counts otherwise than later ones: what one ticket more or less makes the first was or
    # becomes the second, two the third. Where that does not change they are left alone: whoever holds one may be
    # waiting for the cell that this booking holds
    places = 1 + max(1, len(touched.tickets))
    turns = turns_of(session, sorted(customers), list(touched.tickets), places) if customers else {}
    first = _added_before(session, list(turns)) if turns else {}
    ids = sorted({*touched.tickets, *(one for one, was in first.items() if _was_returning(was) != (turns[one] > 1))})
    if session.get_bind().dialect.name != "sqlite":  # which has one writer at a time
        session.execute(_TICKETS_HELD, {"ticket_ids": ids})
    records, before = records_of(session, ids), _added_before(session, ids)
    moves, after = _Moves(), {}
    for ticket_id in ids:
        was = before.get(ticket_id, Added())
        returning = turns[ticket_id] > 1 if ticket_id in turns else _was_returning(was)
        after[ticket_id] = added_by(records.get(ticket_id, TicketRecords()), rules, returning=returning)
        moves.by(was, after[ticket_id])
    _write_added(session, before, after)
    _move_sums(session, moves)


def _held(session: Session, statement: Any, ids: Sequence[str]) -> list[str]:
    return list(session.execute(statement, {"ticket_ids": list(ids)}).scalars())


def _was_returning(was: Added) -> bool:
    return any(figures[COUNTED.index("come_again")] for figures in was.months.values())


def _added_before(session: Session, ids: Sequence[str]) -> dict[str, Added]:
    found: dict[str, Added] = defaultdict(Added)
    for ticket_id, month, turnaround_s, *figures in session.execute(_ADDED, {"ticket_ids": list(ids)}):
        found[ticket_id].months[month] = tuple(figures)
        if turnaround_s is not None:
            found[ticket_id].turnaround_s[month] = turnaround_s
    for ticket_id, month, kind, cents in session.execute(_ADDED_KINDS, {"ticket_ids": list(ids)}):
        found[ticket_id].kinds[month, kind] = cents
    return dict(found)


def _write_added(session: Session, before: Mapping[str, Added], after: Mapping[str, Added]) -> None:
    """The rows of tickets that differ from those kept, and no others."""
    rows, kinds, gone, gone_kinds = [], [], [], []
    for ticket_id, now in after.items():
        was = before.get(ticket_id, Added())
        changed = [
            month
            for month, figures in now.months.items()
            if was.months.get(month) != figures or was.turnaround_s.get(month) != now.turnaround_s.get(month)
        ]
        rows += [_row(ticket_id, month, now) for month in changed]
        kinds += [_kind_row(ticket_id, key, now) for key, cents in now.kinds.items() if was.kinds.get(key) != cents]
        gone += [{"of_ticket": ticket_id, "of_month": month} for month in was.months.keys() - now.months.keys()]
        gone_kinds += [
            {"of_ticket": ticket_id, "of_month": month, "of_kind": kind}
            for month, kind in was.kinds.keys() - now.kinds.keys()
        ]
    _run(session, replacing(session, _OF_TICKET, ("turnaround_s", *COUNTED)), rows)
    _run(session, replacing(session, _KIND_OF_TICKET, ("net_cents",)), kinds)
    _run(session, _DROP, gone)
    _run(session, _DROP_KIND, gone_kinds)


def _row(ticket_id: str, month: str, added: Added) -> dict[str, Any]:
    figures = dict(zip(COUNTED, added.months[month], strict=True))
    return {"ticket_id": ticket_id, "month": month, "turnaround_s": added.turnaround_s.get(month), **figures}


def _kind_row(ticket_id: str, key: tuple[str, str], added: Added) -> dict[str, Any]:
    return {"ticket_id": ticket_id, "month": key[0], "kind_of_work": key[1], "net_cents": added.kinds[key]}


def _run(session: Session, statement: Any, rows: Sequence[Mapping[str, Any]]) -> None:
    if rows:
        session.execute(statement, rows)


def _move_sums(session: Session, moves: _Moves) -> None:
    """Months in their order, then kinds in theirs: every transaction takes these locks in the same turn."""
    months = [month for month, by in moves.months.items() if any(by) or month in moves.turned]
    rows = [{"month": month, **dict(zip(COUNTED, moves.months[month], strict=True))} for month in sorted(months)]
    _run(session, adding_up(session, _TOTAL, COUNTED), rows)
    kinds = [
        {"month": month, "kind_of_work": kind, "net_cents": by}
        for (month, kind), by in sorted(moves.kinds.items())
        if by
    ]
    _run(session, adding_up(session, _KIND_TOTAL, ("net_cents",)), kinds)
    for month in sorted(moves.turned):  # its row is held by now: nobody else changes a turnaround of this month
        _set_turnaround(session, month)


def _set_turnaround(session: Session, month: str) -> None:
    many = session.execute(_HOW_MANY, {"of_month": month}).scalar_one()
    values: dict[str, int | None] = {"turnaround_median_s": None, "turnaround_90th_s": None}
    if many:
        middle = _ranks(session, month, (many - 1) // 2, 2 - many % 2)
        # nearest rank: the shortest time that nine in ten were no longer than
        (ninth,) = _ranks(session, month, -(-many * 9 // 10) - 1, 1)
        values = {"turnaround_median_s": sum(middle) // len(middle), "turnaround_90th_s": ninth}
    session.execute(_SET_TURNAROUND.values(values), {"of_month": month})


def _ranks(session: Session, month: str, first: int, many: int) -> list[int]:
    return list(session.execute(_RANKED, {"of_month": month, "from_rank": first, "ranks": many}).scalars())


def rebuild(session: Session) -> int:
    """Throw every count away and count everything on record; gives how many tickets. Writers wait for it meanwhile."""
    rules = rules_of(session)
    how = {"id": 1, "counting_version": COUNTING_VERSION, "time_zone": rules.zone.key}
    how["prices_include_tax"] = rules.prices_include_tax
    session.execute(replacing(session, _KEPT, tuple(how)), how)
    for table in (_OF_TICKET, _KIND_OF_TICKET, _TOTAL, _KIND_TOTAL):
        session.execute(delete(table))
    first = first_tickets(session)
    ids = list(session.execute(select(_TICKET.c.id).order_by(_TICKET.c.id)).scalars())
    moves = _Moves()
    for start in range(0, len(ids), AT_ONCE):
        some = ids[start : start + AT_ONCE]
        counted = {
            ticket_id: added_by(records, rules, returning=ticket_id not in first)
            for ticket_id, records in records_between(session, some[0], some[-1]).items()
        }
        _insert_added(session, counted)
        for added in counted.values():
            moves.by(Added(), added)
    _move_sums(session, moves)
    return len(ids)


def _insert_added(session: Session, counted: Mapping[str, Added]) -> None:
    rows = [_row(ticket_id, month, one) for ticket_id, one in counted.items() for month in one.months]
    kinds = [_kind_row(ticket_id, key, one) for ticket_id, one in counted.items() for key in one.kinds]
    _run(session, insert(_OF_TICKET), rows)
    _run(session, insert(_KIND_OF_TICKET), kinds)


def is_counted(session: Session) -> bool:
    """Whether what is kept was counted as this version counts."""
    version = session.execute(select(_KEPT.c.counting_version)).scalar_one_or_none()
    return version == COUNTING_VERSION


def kept_rows(session: Session, *, sums_only: bool = False) -> dict[str, set[tuple[Any, ...]]]:
    """Every row kept, by table, without sums that have come back to nought: what counting anew must give again."""
    found = {}
    for table in (_TOTAL, _KIND_TOTAL) if sums_only else (_OF_TICKET, _KIND_OF_TICKET, _TOTAL, _KIND_TOTAL):
        counted = [name for name in (*COUNTED, "net_cents") if name in table.c]
        rows = session.execute(select(table)).mappings()
        found[table.name] = {tuple(row.items()) for row in rows if any(row[name] for name in counted)}
    return found


def counts_again(session: Session) -> Iterable[str]:
    """Which tables would come out otherwise if everything were counted anew: none, unless something is amiss."""
    before = kept_rows(session)
    rebuild(session)
    after = kept_rows(session)
    return [name for name, rows in before.items() if rows != after[name]]
