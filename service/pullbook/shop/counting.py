"""Counting: what one ticket adds to which month of the shop's own clock. Here every figure of a month is defined.

A ticket is opened with its first step, done when the customer collects the car, cancelled while it stands cancelled.
Turnaround is from the first check-in (or time in the cell, where nobody checked the car in) to the last time it became
ready. What was charged counts in the month in which the job was done or cancelled; until then, in no month. Hours are
elapsed time, so a night on which the clocks change has 23 or 25 of them, and are parted where a month ends.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import field
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from itertools import pairwise
from zoneinfo import ZoneInfo

from pullbook.db.months import COUNTED
from pullbook.late_methods import dataclass
from pullbook.shop.charging import divided, line_cents

COUNTING_VERSION = 1  # goes up whenever a figure is defined otherwise; what is kept is then counted anew
LONGEST_SPAN = timedelta(days=366)
NOT_OVER = ""  # the month of what belongs to none yet


@dataclass(frozen=True, slots=True)
class Rules:
    """What the shop's settings say of counting."""

    zone: ZoneInfo
    prices_include_tax: bool


@dataclass(slots=True)
class TicketRecords:
    """Everything on record of one ticket that a month is counted from."""

    state: str = ""
    booked: tuple[datetime, datetime] | None = None  # in a cell
    steps: list[tuple[datetime, int, str]] = field(default_factory=list)  # when, id, to which state
    pulls: list[tuple[datetime, bool, bool]] = field(default_factory=list)  # when taken, set aside, unreadable
    charges: list[tuple[str, int, int, int]] = field(default_factory=list)  # kind, milli, cents, tax rate
    payments: list[tuple[datetime, int]] = field(default_factory=list)  # when, cents
    links: list[tuple[datetime, int]] = field(default_factory=list)  # when made, how often opened


@dataclass(slots=True)
class Added:
    """What a ticket adds: by month its figures in the order of COUNTED; its turnaround; by month and kind its income.

    Figures are whole numbers, times in seconds, money in cents.
    """

    months: dict[str, tuple[int, ...]] = field(default_factory=dict)
    turnaround_s: dict[str, int] = field(default_factory=dict)
    kinds: dict[tuple[str, str], int] = field(default_factory=dict)


def month_of(at: datetime, zone: ZoneInfo) -> str:
    """The month an instant lies in by this clock: 2026-11."""
    there = at.astimezone(zone)
    return f"{there.year:04d}-{there.month:02d}"


@lru_cache(maxsize=4096)
def month_starts(month: str, zone: ZoneInfo) -> datetime:
    """The instant at which a month begins by this clock, in UTC."""
    return datetime(int(month[:4]), int(month[5:]), 1, tzinfo=zone).astimezone(UTC)


def months_from(month: str, by: int) -> str:
    """The month so many months later, or earlier where `by` is below nought."""
    count = int(month[:4]) * 12 + int(month[5:]) - 1 + by
    return f"{count // 12:04d}-{count % 12 + 1:02d}"


def added_by(records: TicketRecords, rules: Rules, *, returning: bool) -> Added:
    """What a ticket adds to every month. `returning`: its customer had a ticket before this one."""
    figures: dict[str, dict[str, int]] = defaultdict(lambda: dict.fromkeys(COUNTED, 0))
    added, zone = Added(), rules.zone
    steps = sorted(records.steps)
    over = NOT_OVER
    if steps:
        opened = figures[month_of(steps[0][0], zone)]
        opened["opened"], opened["come_again"] = 1, int(returning)
        if steps[-1][2] in ("collected", "cancelled"):
            over = month_of(steps[-1][0], zone)
            figures[over]["done" if steps[-1][2] == "collected" else "cancelled"] = 1
            if steps[-1][2] == "collected":
                added.turnaround_s[over] = _turnaround_s(steps)
    for begins, ends in _in_cell(steps):
        _add_span(figures, "used_s", begins, ends, zone)
    if records.booked and records.state != "cancelled":
        _add_span(figures, "booked_s", *records.booked, zone)
    for taken_at, set_aside, unreadable in records.pulls:
        month = figures[month_of(taken_at, zone)]
        month["pulls"] += 1
        month["set_aside"] += set_aside
        month["unreadable"] += unreadable
    for made_at, openings in records.links:
        month = figures[month_of(made_at, zone)]
        month["links_sent"] += 1
        month["links_opened"] += openings > 0
        month["link_openings"] += openings
    _add_money(figures, added, records, rules, over)
    added.months = {month: tuple(told.values()) for month, told in figures.items() if any(told.values())}
    return added


def _turnaround_s(steps: Sequence[tuple[datetime, int, str]]) -> int:
    came = next((at for at, _, state in steps if state in ("checked_in", "in_cell")), steps[0][0])
    ready = next((at for at, _, state in reversed(steps) if state == "ready"), steps[-1][0])
    return max(0, round((ready - came).total_seconds()))


def _in_cell(steps: Sequence[tuple[datetime, int, str]]) -> Iterator[tuple[datetime, datetime]]:
    """From each time in the cell to whatever step came next; a car that is in it now is not counted yet."""
    for (begins, _, state), (ends, _, _) in pairwise(steps):
        if state == "in_cell":
            yield begins, ends


def _add_span(figures: dict[str, dict[str, int]], name: str, begins: datetime, ends: datetime, zone: ZoneInfo) -> None:
    """Whole seconds of a stretch of time, to each month what lies in it; of one mistyped into years, the first."""
    ends = min(ends, begins + LONGEST_SPAN)
    while begins < ends:
        month = month_of(begins, zone)
        upto = min(ends, month_starts(months_from(month, 1), zone))
        figures[month][name] += round((upto - begins).total_seconds())
        begins = upto


def _add_money(
    figures: dict[str, dict[str, int]], added: Added, records: TicketRecords, rules: Rules, over: str
) -> None:
    for paid_at, cents in records.payments:
        figures[month_of(paid_at, rules.zone)]["came_in_cents"] += cents
    if not records.charges and not records.payments:
        return
    by_kind, tax_cents = income_by_kind(records.charges, prices_include_tax=rules.prices_include_tax)
    net_cents, paid_cents = sum(by_kind.values()), sum(cents for _, cents in records.payments)
    due_cents = net_cents + tax_cents - paid_cents
    money = {
        "net_cents": net_cents,
        "tax_cents": tax_cents,
        "paid_cents": paid_cents,
        "owed_cents": max(due_cents, 0),
        "overpaid_cents": max(-due_cents, 0),
    }
    figures[over] |= money
    added.kinds = {(over, kind): cents for kind, cents in by_kind.items() if cents}


def income_by_kind(
    charges: Iterable[tuple[str, int, int, int]], *, prices_include_tax: bool
) -> tuple[dict[str, int], int]:
    """Cents without tax for each kind of work, and all the tax; together exactly what the ticket's reckoning says.

    `charges`: kind, quantity in thousandths, price in cents, tax rate in hundredths of a per cent. The tax of a rate is
    worked out over all its lines at once; where it lies within the prices, each kind bears what it adds to it as kinds
    are taken in turn, so that no cent is lost between them.
    """
    by_rate: dict[int, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    for kind, quantity_milli, unit_price_cents, tax_rate_bp in charges:
        by_rate[tax_rate_bp][kind] += line_cents(quantity_milli, unit_price_cents)
    net: dict[str, int] = defaultdict(int)
    tax_cents = 0
    for rate, kinds in by_rate.items():
        by = 10000 + rate if prices_include_tax else 10000
        so_far = tax_so_far = 0
        for kind, told in sorted(kinds.items()):
            so_far += told
            tax = divided(so_far * rate, by) - tax_so_far
            tax_so_far += tax
            net[kind] += told - tax if prices_include_tax else told
        tax_cents += tax_so_far
    return dict(net), tax_cents
