"""Days of the shop's calendar: how long they are, how their hours are named, and what is free in them."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from pullbook.errors import Invalid
from pullbook.shop.day_planning import day_span, free_quarters, planned_day


@pytest.mark.parametrize(
    ("day", "zone", "quarters", "names"),
    [
        # the days and hours of change as the IANA time zone database has them
        (date(2026, 3, 29), "Europe/Vienna", 92, ["00:00", "01:00", "03:00"]),
        (date(2026, 10, 25), "Europe/Vienna", 100, ["00:00", "01:00", "02:00 CEST", "02:00 CET"]),
        (date(2026, 3, 8), "America/New_York", 92, ["00:00", "01:00", "03:00"]),
        (date(2026, 3, 8), "America/Havana", 92, ["01:00", "02:00"]),  # there is no midnight that day
        (date(2026, 10, 4), "Australia/Lord_Howe", 94, ["00:00", "01:00", "02:30"]),  # half an hour only
        (date(2026, 4, 5), "Australia/Lord_Howe", 98, ["00:00", "01:00 +11", "01:30 +1030", "02:00"]),
        (date(2026, 3, 29), "Asia/Kathmandu", 96, ["00:00", "01:00"]),
        (date(2026, 3, 29), "UTC", 96, ["00:00", "01:00"]),
    ],
)
def test_a_day_is_as_long_as_it_is_and_its_hours_are_the_clocks(
    day: date, zone: str, quarters: int, names: list[str]
) -> None:
    planned = planned_day(day, zone)
    assert planned.quarters == quarters
    assert planned.ends - planned.begins == timedelta(minutes=15) * quarters
    assert [mark.label for mark in planned.hours][: len(names)] == names
    for mark in planned.hours:
        assert planned.at(mark.first).astimezone(ZoneInfo(zone)).strftime("%H:%M") == mark.label[:5]


@pytest.mark.parametrize("zone", ["Europe/Vienna", "America/Havana", "Australia/Lord_Howe", "Asia/Kathmandu"])
def test_days_follow_each_other_without_gap_or_overlap(zone: str) -> None:
    day = date(2026, 1, 1)
    ends = day_span(day, zone)[1]
    for _ in range(364):
        day += timedelta(days=1)
        begins, following = day_span(day, zone)
        assert begins == ends
        ends = following


def test_a_stretch_of_time_takes_the_quarters_it_touches_and_no_more() -> None:
    planned = planned_day(date(2026, 10, 25), "Europe/Vienna")  # begins at 22:00 UTC of the day before
    at = datetime(2026, 10, 25, 1, 10, tzinfo=UTC)
    assert planned.span(at, at + timedelta(minutes=20)) == (12, 14)
    assert planned.span(at - timedelta(days=2), at + timedelta(days=2)) == (0, 100)
    assert planned.span(at, at + timedelta(minutes=5)) == (12, 13)


def test_the_hours_offered_are_the_clocks_on_the_nights_of_change_too() -> None:
    for day in (date(2026, 3, 29), date(2026, 10, 25), date(2026, 7, 1)):
        planned = planned_day(day, "Europe/Vienna")
        first, last = planned.offered
        clocks = [planned.at(one).astimezone(ZoneInfo("Europe/Vienna")).hour for one in (first, last)]
        assert clocks == [8, 18]


@pytest.mark.parametrize(
    ("taken", "free"),
    [
        ([], [(0, 10)]),
        ([(0, 10)], []),
        ([(2, 4)], [(0, 2), (4, 10)]),
        ([(6, 8), (2, 4), (3, 7)], [(0, 2), (8, 10)]),
        ([(-5, 1), (9, 30)], [(1, 9)]),
        ([(20, 30)], [(0, 10)]),
        ([(2, 8), (3, 4)], [(0, 2), (8, 10)]),
    ],
)
def test_free_is_what_nothing_takes(taken: list[tuple[int, int]], free: list[tuple[int, int]]) -> None:
    assert free_quarters(0, 10, taken) == free


@pytest.mark.parametrize("day", [date(1899, 12, 31), date(2201, 1, 1)])
def test_a_day_out_of_reach_is_refused(day: date) -> None:
    with pytest.raises(Invalid):
        planned_day(day, "Europe/Vienna")


# Samoa and the Line Islands crossed the date line: there was no such day (IANA time zone database, file australasia)
@pytest.mark.parametrize(
    ("day", "zone"), [(date(2011, 12, 30), "Pacific/Apia"), (date(1994, 12, 31), "Pacific/Kiritimati")]
)
def test_a_day_that_a_calendar_leapt_over_is_refused_by_name(day: date, zone: str) -> None:
    with pytest.raises(Invalid, match=f"no {day}") as refused:
        planned_day(day, zone)
    assert refused.value.problems[0].field == "day"
