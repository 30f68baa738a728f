"""Looking back at months: every figure, by the shop's clock, and the tickets behind it."""

import csv
from datetime import datetime
from io import StringIO
from typing import Any

import pytest

from pullbook.db.months import COUNTED
from pullbook.shop.figuring import read_due
from pullbook.shop.looking_back import FIGURES
from tests.api.pull_files import UNCLEAR, Steady, filed, send_pull
from tests.furnishing import made


def months(client: Any, last: str, many: int = 1) -> list[dict[str, Any]]:
    answer = client.get(f"/api/v1/throughput?month={last}&months={many}")
    assert answer.status_code == 200, answer.text
    found: list[dict[str, Any]] = answer.json()["items"]
    return found


def opened(client: Any, house: Any, at: str, **more: Any) -> str:
    asked = {"customer_id": house.customer_id, "vehicle_id": house.vehicle_id, "asked": "x", "opened_at": at, **more}
    ticket: str = made(client.post("/api/v1/tickets", json=asked))["id"]
    return ticket


def walked(client: Any, ticket: str, **steps: str) -> None:
    for state, at in steps.items():
        made(client.post(f"/api/v1/tickets/{ticket}/steps", json={"state": state, "at": at}))


def charged(client: Any, ticket: str, kind: str, cents: int, rate: int = 2000) -> Any:
    line = {"name": "Work", "kind_of_work": kind, "unit_price_cents": cents, "tax_rate_bp": rate}
    return made(client.post(f"/api/v1/tickets/{ticket}/charges", json=line))


@pytest.fixture
def february(desk: Any, house: Any) -> list[str]:
    """Three jobs of February with 2, 4 and 9 hours from check-in to ready, and one that was cancelled."""
    tickets = []
    for number, ready in enumerate(("11:00", "13:00", "18:00")):
        day = f"2026-02-1{number}T"
        ticket = opened(desk, house, "2026-02-02T10:00:00+01:00")
        times = {"checked_in": "09:00", "in_cell": "09:30", "ready": ready, "collected": "18:30"}
        walked(desk, ticket, **{state: f"{day}{at}:00+01:00" for state, at in times.items()})
        charged(desk, ticket, "tuning" if number else "measuring", 10000)
        tickets.append(ticket)
    walked(desk, opened(desk, house, "2026-02-03T10:00:00+01:00"), cancelled="2026-02-04T10:00:00+01:00")
    desk.post(f"/api/v1/tickets/{tickets[0]}/payments", json={"amount_cents": 5000, "way": "cash"})
    return tickets


def test_jobs_are_told_by_the_months_of_their_steps(owner: Any, february: list[str]) -> None:
    march, told = months(owner, "2026-03", 2)
    assert (told["opened"], told["done"], told["cancelled"]) == (4, 3, 1)
    assert (march["opened"], march["done"], march["came_in_cents"]) == (1, 0, 5000)  # the house's own ticket


def test_turnaround_is_exact_from_check_in_to_ready(owner: Any, february: list[str]) -> None:
    (told,) = months(owner, "2026-02")
    assert (told["turnaround_median_s"], told["turnaround_90th_s"]) == (4 * 3600, 9 * 3600)
    behind = owner.get("/api/v1/throughput/2026-02/tickets?figure=turnaround").json()["items"]
    assert sorted(one["added"] for one in behind) == [2 * 3600, 4 * 3600, 9 * 3600]


def test_hours_used_run_from_in_cell_to_the_next_step(owner: Any, february: list[str]) -> None:
    (told,) = months(owner, "2026-02")
    assert told["used_s"] == (1.5 + 3.5 + 8.5) * 3600


def test_income_is_told_by_kind_with_tax_apart_and_what_is_owed(owner: Any, february: list[str]) -> None:
    (told,) = months(owner, "2026-02")
    income = {one["kind_of_work"]: one["net_cents"] for one in told["income"]}
    assert income == {"measuring": 10000, "tuning": 20000}
    assert (told["net_cents"], told["tax_cents"]) == (30000, 6000)
    assert (told["paid_cents"], told["owed_cents"]) == (5000, 31000)


def test_charges_on_a_job_that_is_not_over_stand_apart(owner: Any, desk: Any, house: Any) -> None:
    charged(desk, house.ticket_id, "tuning", 7000, 0)
    answer = owner.get("/api/v1/throughput?month=2026-03&months=1").json()
    assert answer["items"][0]["net_cents"] == 0
    assert answer["not_over"]["income"] == [{"kind_of_work": "tuning", "net_cents": 7000}]
    behind = owner.get("/api/v1/throughput/not-over/tickets?figure=owed_cents").json()
    assert [one["ticket_id"] for one in behind["items"]] == [house.ticket_id]


def test_prices_that_hold_the_tax_give_the_same_reckoning_as_the_ticket(owner: Any, desk: Any, house: Any) -> None:
    shop = owner.get("/api/v1/shop").json()
    owner.put("/api/v1/shop", json=shop | {"prices_include_tax": True})
    for kind, cents in (("a", 999), ("b", 333), ("c", 101)):
        charged(desk, house.ticket_id, kind, cents, 1900)
    sums = desk.get(f"/api/v1/tickets/{house.ticket_id}/charges").json()
    waiting = owner.get("/api/v1/throughput").json()["not_over"]
    assert sum(one["net_cents"] for one in waiting["income"]) == waiting["net_cents"] == sums["without_tax_cents"]
    assert waiting["net_cents"] + waiting["tax_cents"] == sums["total_cents"]


def test_customers_who_come_again_are_told_from_new_ones(
    owner: Any, desk: Any, house: Any, february: list[str]
) -> None:
    told = months(owner, "2026-03", 2)
    assert [one["come_again"] for one in told] == [1, 3]
    # one written up later, from before all of them, makes the first of them a second one
    opened(desk, house, "2026-01-10T10:00:00+01:00")
    assert [one["come_again"] for one in months(owner, "2026-03", 3)] == [1, 4, 0]


def test_pulls_and_those_set_aside_count_when_they_were_taken(owner: Any, tuner: Any, house: Any) -> None:
    first = filed(tuner, house, Steady().csv(), taken_at="2026-02-28T23:30:00+01:00")
    filed(tuner, house, Steady(gain_rad_s2=7.5).csv(), taken_at="2026-03-01T00:30:00+01:00")
    send_pull(tuner, house, UNCLEAR.csv(), taken_at="2026-03-01T00:40:00+01:00")
    tuner.post(f"/api/v1/pulls/{first['id']}/set-aside", json={"reason": "belt slipped"})
    march, february = months(owner, "2026-03", 2)
    assert (february["pulls"], february["set_aside"], february["unreadable"]) == (1, 1, 0)
    assert (march["pulls"], march["set_aside"], march["unreadable"]) == (2, 0, 1)
    tuner.delete(f"/api/v1/pulls/{first['id']}/set-aside")
    assert months(owner, "2026-02")[0]["set_aside"] == 0


def test_links_sent_and_opened_are_counted(
    owner: Any, tuner: Any, desk: Any, house: Any, anonymous: Any, now: Any
) -> None:
    pull = filed(tuner, house, Steady().csv())
    wanted = {"pull_ids": [pull["id"]], "standard": "observed"}
    links = [made(desk.post(f"/api/v1/tickets/{house.ticket_id}/results-links", json=wanted)) for _ in range(2)]
    for _ in range(3):
        assert anonymous.post(f"/r/{links[0]['url'].rpartition('/r/')[2]}/opened").status_code == 204
        now.advance(minutes=5)
    (told,) = months(owner, "2026-03")
    assert (told["links_sent"], told["links_opened"], told["link_openings"]) == (2, 1, 3)


@pytest.mark.parametrize(
    ("begins", "ends", "hours"),
    [
        # in Vienna the clocks went from 2 to 3 on 29 March 2026 and from 3 back to 2 on 25 October 2026 (EU 2000/84/EC)
        ("2026-03-29T01:00:00+01:00", "2026-03-29T04:00:00+02:00", 2),
        ("2026-10-25T01:00:00+02:00", "2026-10-25T04:00:00+01:00", 4),
    ],
)
def test_a_night_on_which_the_clocks_change_has_its_own_length(
    owner: Any, desk: Any, house: Any, begins: str, ends: str, hours: int
) -> None:
    opened(desk, house, "2026-03-01T10:00:00+01:00", cell_id=house.cell_id, booked_from=begins, booked_to=ends)
    (told,) = months(owner, begins[:7])
    assert told["booked_s"] == hours * 3600


def test_months_end_at_midnight_of_the_shops_clock_in_summer_and_in_winter(owner: Any, desk: Any, house: Any) -> None:
    hours = {"cell_id": house.cell_id, "booked_from": "2026-03-31T21:00:00Z", "booked_to": "2026-03-31T23:00:00Z"}
    opened(desk, house, "2026-03-01T10:00:00+01:00", **hours)  # 23:00 to 01:00 by summer time
    hours = {"cell_id": house.cell_id, "booked_from": "2026-10-31T21:00:00Z", "booked_to": "2026-10-31T23:30:00Z"}
    opened(desk, house, "2026-03-01T10:00:00+01:00", **hours)  # 22:00 to 00:30 by winter time
    told = {one["month"]: one["booked_s"] for one in months(owner, "2026-11", 9)}
    assert (told["2026-03"], told["2026-04"]) == (3600, 3600)
    assert (told["2026-10"], told["2026-11"]) == (2 * 3600, 1800)


def test_another_time_zone_counts_every_month_again(owner: Any, desk: Any, house: Any) -> None:
    opened(desk, house, "2026-03-01T00:30:00+01:00")  # the last evening of February in New York
    assert months(owner, "2026-02")[0]["opened"] == 0
    shop = owner.get("/api/v1/shop").json()
    assert owner.put("/api/v1/shop", json=shop | {"time_zone": "America/New_York"}).status_code == 200
    assert months(owner, "2026-02")[0]["opened"] == 1


def test_a_figure_is_what_its_tickets_add_up_to(owner: Any, tuner: Any, desk: Any, house: Any, february: Any) -> None:
    pull = filed(tuner, house, Steady().csv(), ticket_id=february[0], setup_id=_setup(tuner, february[0]))
    tuner.post(f"/api/v1/pulls/{pull['id']}/set-aside", json={"reason": "slipped"})
    for month in ("2026-02", "2026-03"):
        (told,) = months(owner, month)
        for figure in FIGURES:
            kinds = [one["kind_of_work"] for one in told["income"]] if figure == "income" else [""]
            for kind in kinds:
                listed, whole = _all_behind(owner, month, figure, kind)
                added = sum(one["added"] for one in listed)
                assert whole == (len(listed) if figure == "turnaround" else added), f"{month} {figure}"
                if figure in COUNTED:
                    assert told[figure] == whole
                if figure in ("opened", "come_again", "done", "cancelled"):
                    assert len(listed) == whole


def _setup(client: Any, ticket: str) -> str:
    setup: str = made(client.post(f"/api/v1/tickets/{ticket}/setups", json={"name": "Baseline"}))["id"]
    return setup


def _all_behind(client: Any, month: str, figure: str, kind: str) -> tuple[list[dict[str, Any]], int]:
    listed, cursor = [], ""
    while True:
        query = {"figure": figure, "kind_of_work": kind, "limit": 2, **({"cursor": cursor} if cursor else {})}
        answer = client.get(f"/api/v1/throughput/{month}/tickets", params=query).json()
        listed += answer["items"]
        cursor = answer["next"]
        if not cursor:
            return listed, answer["figure"]


def test_a_month_without_anything_is_told_with_noughts(owner: Any, house: Any) -> None:
    found = months(owner, "2026-03", 24)
    assert [one["month"] for one in found][:3] == ["2026-03", "2026-02", "2026-01"]
    assert len(found) == 24
    assert {value for name, value in found[5].items() if name not in ("month", "income")} == {0, None}


def test_the_csv_gives_the_same_numbers_and_no_formula(owner: Any, desk: Any, house: Any, february: list[str]) -> None:
    charged(desk, february[0], "=HYPERLINK(1)", -500, 0)
    answer = owner.get("/api/v1/throughput.csv?month=2026-02&months=2")
    assert answer.headers["content-type"].startswith("text/csv")
    lines = [line for line in answer.text.splitlines() if not line.startswith("#")]
    rows = list(csv.DictReader(StringIO("\n".join(lines))))
    assert [row["Month"] for row in rows] == ["2026-01", "2026-02"]
    assert float(rows[1]["net [EUR]"]) == 295.0
    (names,) = [line.split() for line in answer.text.splitlines() if line.startswith("# names:")]
    assert {"net_eur", "came_in_eur", "income_0_eur", "used_h", "links_sent"} < set(names)
    assert not any(name.endswith("_cents") for name in names)
    assert float(rows[1]["income: =HYPERLINK(1) [EUR]"]) == -5.0
    assert float(rows[1]["used [h]"]) == 13.5
    assert not any(cell.lstrip('"').startswith(("=", "+", "@")) for line in lines for cell in line.split(","))


def test_a_month_that_is_none_is_refused(owner: Any) -> None:
    for wrong in ("2026-13", "2026", "march", "20260-1"):
        assert owner.get(f"/api/v1/throughput?month={wrong}").status_code == 422
        assert owner.get(f"/api/v1/throughput/{wrong}/tickets").status_code == 422


def test_only_an_owner_reads_what_the_shop_earns(desk: Any, tuner: Any) -> None:
    for client in (desk, tuner):
        assert client.get("/api/v1/throughput").status_code == 403
        assert client.get("/month").status_code == 403


def test_the_page_shows_the_month_and_leads_to_its_tickets(owner: Any, february: list[str], now: Any) -> None:
    now.value = datetime.fromisoformat("2026-03-10T10:00:00+01:00")
    page = owner.get("/month?month=2026-02")
    assert page.status_code == 200
    assert "February 2026" in page.text
    assert "4 h 00 min" in page.text
    assert "/month/tickets?month=2026-02&amp;figure=done" in page.text
    listed = owner.get("/month/tickets?month=2026-02&figure=done")
    assert all(f"/tickets/{ticket}" in listed.text for ticket in february)
    assert "Nothing happened in May 2024" in owner.get("/month?month=2024-05").text


def test_flags_of_a_month_are_those_its_pulls_carried_when_last_read(
    owner: Any, tuner: Any, house: Any, app: Any
) -> None:
    pull = filed(tuner, house, Steady().csv(), taken_at="2026-02-28T23:30:00+01:00")
    assert owner.get("/api/v1/throughput/2026-02/flags").json() == {"month": "2026-02", "items": [], "unread": 1}
    with app.state.database.writing() as session:
        assert read_due(session) == 1
    told = owner.get("/api/v1/throughput/2026-02/flags").json()
    curve = tuner.get(f"/api/v1/pulls/{pull['id']}/curve").json()
    assert {one["flag"] for one in told["items"]} == {one["code"] for one in curve["flags"]} != set()
    assert owner.get("/api/v1/throughput/2026-03/flags").json() == {"month": "2026-03", "items": [], "unread": 0}
    assert "/archive?flag=" in owner.get("/month/flags?month=2026-02").text
