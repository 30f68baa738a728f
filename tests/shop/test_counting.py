"""What one ticket adds to its months: money that adds up to the cent, time that is parted where a month ends."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from pullbook.db.months import COUNTED
from pullbook.shop.charging import reckon
from pullbook.shop.counting import (
    Rules,
    TicketRecords,
    added_by,
    income_by_kind,
    month_of,
    month_starts,
    months_from,
)

VIENNA = Rules(ZoneInfo("Europe/Vienna"), prices_include_tax=False)
LINES = st.lists(
    st.tuples(
        st.sampled_from(["", "fitting", "measuring", "tuning"]),
        st.integers(1, 9000),
        st.integers(-50_000, 200_000),
        st.sampled_from([0, 700, 1000, 1900, 2000, 2100]),
    ),
    max_size=12,
)


@given(LINES, st.booleans())
def test_income_by_kind_and_its_tax_are_the_tickets_reckoning_to_the_cent(lines, includes):
    by_kind, tax_cents = income_by_kind(lines, prices_include_tax=includes)
    sums = reckon([line[1:] for line in lines], [], includes)
    assert sum(by_kind.values()) == sums.without_tax_cents
    assert sum(by_kind.values()) + tax_cents == sums.total_cents


def figures(records, rules=VIENNA):
    added = added_by(records, rules, returning=False)
    return {month: dict(zip(COUNTED, told, strict=True)) for month, told in added.months.items()}


@given(st.datetimes(datetime(2020, 1, 1), datetime(2030, 1, 1)), st.integers(1, 5_000_000), st.sampled_from(
    ["Europe/Vienna", "America/Havana", "Australia/Lord_Howe", "Asia/Kathmandu", "Pacific/Apia", "UTC"]
))  # fmt: skip
def test_a_stretch_of_time_is_parted_among_months_and_none_of_it_lost(begins, seconds, zone):
    begins = begins.replace(tzinfo=UTC, microsecond=0)
    records = TicketRecords("booked", (begins, begins + timedelta(seconds=seconds)))
    told = figures(records, Rules(ZoneInfo(zone), prices_include_tax=False))
    assert sum(one["booked_s"] for one in told.values()) == seconds
    for month, one in told.items():
        length = month_starts(months_from(month, 1), ZoneInfo(zone)) - month_starts(month, ZoneInfo(zone))
        assert 0 < one["booked_s"] <= length.total_seconds()


def test_march_and_october_are_an_hour_shorter_and_longer_where_the_clocks_change():
    # Vienna's clocks go forward on the last Sunday of March and back on that of October (EU directive 2000/84/EC)
    def hours(month):
        return (month_starts(months_from(month, 1), VIENNA.zone) - month_starts(month, VIENNA.zone)) / timedelta(
            hours=1
        )

    assert (hours("2026-03"), hours("2026-10"), hours("2026-11")) == (743, 745, 720)


def test_an_hour_that_comes_twice_on_the_first_lies_in_the_new_month_both_times():
    # Havana's clocks went from 1 back to 0 on Sunday 1 November 2026 (tz database, rule Cuba: first Sunday of November)
    havana = ZoneInfo("America/Havana")
    first = datetime(2026, 11, 1, 4, 0, tzinfo=UTC)
    assert month_starts("2026-11", havana) == first
    assert month_of(first - timedelta(seconds=1), havana) == "2026-10"
    assert {month_of(first + timedelta(minutes=part), havana) for part in (0, 59, 60, 119)} == {"2026-11"}


def test_a_ticket_that_was_cancelled_and_booked_again_counts_as_cancelled_no_more():
    at = datetime(2026, 2, 3, 9, tzinfo=UTC)
    steps = [(at, 1, "booked"), (at, 2, "cancelled"), (at + timedelta(days=40), 3, "booked")]
    told = figures(TicketRecords("booked", None, steps))
    assert {month: (one["opened"], one["cancelled"]) for month, one in told.items()} == {"2026-02": (1, 0)}


def test_several_times_in_the_cell_add_up_and_the_last_time_it_was_ready_counts():
    at = datetime(2026, 2, 3, 9, tzinfo=UTC)
    states = ("booked", "checked_in", "in_cell", "ready", "in_cell", "ready", "collected")
    steps = [(at + timedelta(hours=hour), hour, state) for hour, state in enumerate(states)]
    added = added_by(TicketRecords("collected", None, steps), VIENNA, returning=False)
    assert added.turnaround_s == {"2026-02": 4 * 3600}
    assert dict(zip(COUNTED, added.months["2026-02"], strict=True))["used_s"] == 2 * 3600


def test_a_booking_mistyped_into_centuries_takes_a_year_and_no_more():
    begins = datetime(2026, 2, 3, 9, tzinfo=UTC)
    told = figures(TicketRecords("booked", (begins, begins.replace(year=2190))))
    assert sum(one["booked_s"] for one in told.values()) == 366 * 86400
