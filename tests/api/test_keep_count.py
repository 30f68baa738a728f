"""What months come to is kept with each write: after any writes, in any order, it is what counting anew gives."""

import random
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import func, select, update
from sqlalchemy.exc import IntegrityError

from pullbook.db.evidence import ResultsLink
from pullbook.db.money import Charge
from pullbook.db.months import MonthTotal
from pullbook.db.tables import Ticket
from pullbook.db.touched import NAMES_TICKET
from pullbook.shop.gathering import RECORDS_OF
from pullbook.shop.keeping_count import counts_again, is_counted, kept_rows
from tests.api.pull_files import UNCLEAR, Steady, send_pull
from tests.furnishing import CUSTOMER, DESK, OWNER, TUNER, VEHICLE, made, sign_in

THREADS = 4


def assert_nothing_amiss(app: Any) -> None:
    """Counting everything from nothing gives the very rows that are kept."""
    with app.state.database.writing() as session:
        assert is_counted(session)
        assert counts_again(session) == []


class Walk:
    """Somebody who does everything that can be done to tickets, at random, over months."""

    def __init__(self, app: Any, clients: dict[str, Any], house: Any, now: Any, seed: int) -> None:
        self.app, self.house, self.now, self.chance = app, house, now, random.Random(seed)
        self.owner, self.tuner, self.desk = clients["owner"], clients["tuner"], clients["desk"]
        self.cars = [(house.customer_id, house.vehicle_id)]
        self.tickets, self.setups = [house.ticket_id], {house.ticket_id: house.setup_id}
        self.pulls: list[tuple[str, str, bool]] = []  # ticket, pull, readable
        self.links: list[dict[str, Any]] = []
        self.done: dict[str, int] = {}
        self.sign_in()

    def sign_in(self) -> None:
        """Everybody, anew: sessions end while months go by."""
        self.signed_in_at = self.now.value
        for client, person in ((self.owner, OWNER), (self.tuner, TUNER), (self.desk, DESK)):
            sign_in(client, person)

    def step(self) -> None:
        """One thing more, some time later."""
        self.now.advance(hours=self.chance.expovariate(1 / 2.5))
        if self.now.value > self.signed_in_at + timedelta(hours=10):
            self.sign_in()
        names = [name for name in dir(self) if name.startswith("does_")]
        name = self.chance.choice(names)
        getattr(self, name)(self.chance.choice(self.tickets))
        self.done[name] = self.done.get(name, 0) + 1

    def earlier(self) -> str:
        return (self.now.value - timedelta(hours=self.chance.expovariate(1 / 200))).isoformat()

    def does_open(self, _ticket: str) -> None:
        if self.chance.random() < 0.3:
            customer = made(self.desk.post("/api/v1/customers", json=CUSTOMER))["id"]
            car = made(self.desk.post("/api/v1/vehicles", json={"customer_id": customer, **VEHICLE}))["id"]
            self.cars.append((customer, car))
        customer, car = self.chance.choice(self.cars)
        asked = {"customer_id": customer, "vehicle_id": car, "asked": "something", "cell_id": self.house.cell_id}
        if self.chance.random() < 0.6:
            asked["opened_at"] = self.earlier()
        ticket = made(self.desk.post("/api/v1/tickets", json=asked))["id"]
        self.tickets.append(ticket)
        setup = {"name": "Baseline"}
        self.setups[ticket] = made(self.tuner.post(f"/api/v1/tickets/{ticket}/setups", json=setup))["id"]

    def does_move(self, ticket: str) -> None:
        told = self.desk.get(f"/api/v1/tickets/{ticket}").json()
        onward = [state for state in told["may_go"] if state != "on_hold"] or told["may_go"]
        if onward:
            step = {"state": onward[0] if self.chance.random() < 0.7 else self.chance.choice(onward)}
            if self.chance.random() < 0.5:
                last = told["steps"][-1]["at"]
                step["at"] = max(last, self.earlier())
            made(self.desk.post(f"/api/v1/tickets/{ticket}/steps", json=step))

    does_move_on = does_and_move = does_go_on = does_move

    def does_book(self, ticket: str) -> None:
        told = self.desk.get(f"/api/v1/tickets/{ticket}").json()
        begins = self.now.value + timedelta(days=self.chance.uniform(0, 90))
        ends = begins + timedelta(hours=self.chance.uniform(0.5, 30))
        hours = {"booked_from": begins.isoformat(), "booked_to": ends.isoformat()}
        if self.chance.random() < 0.2:
            hours = {"booked_from": None, "booked_to": None}
        answer = self.desk.patch(f"/api/v1/tickets/{ticket}", json={"version": told["version"], **hours})
        assert answer.status_code in (200, 409), answer.text

    def does_charge(self, ticket: str) -> None:
        line = {"name": "Work", "kind_of_work": self.chance.choice(("", "measuring", "tuning"))}
        line |= {"unit_price_cents": self.chance.randrange(-9000, 90000)}
        line |= {"quantity_milli": self.chance.randrange(1, 3000)}
        line["tax_rate_bp"] = self.chance.choice((0, 1000, 2000))
        made(self.desk.post(f"/api/v1/tickets/{ticket}/charges", json=line))

    does_charge_more = does_charge

    def does_pay(self, ticket: str) -> None:
        paid = {"amount_cents": self.chance.choice((-500, 1000, 900000)), "way": "card", "paid_at": self.earlier()}
        made(self.desk.post(f"/api/v1/tickets/{ticket}/payments", json=paid))

    def does_strike(self, ticket: str) -> None:
        told = self.desk.get(f"/api/v1/tickets/{ticket}/charges").json()
        for noun in ("charges", "payments"):
            standing = [one["id"] for one in told[noun] if one["struck_at"] is None]
            if standing:
                path = f"/api/v1/{noun}/{self.chance.choice(standing)}/strike"
                made(self.desk.post(path, json={"reason": "wrong"}))

    def does_file(self, ticket: str) -> None:
        steady = UNCLEAR if self.chance.random() < 0.2 else Steady(seconds=3.0, gain_rad_s2=self.chance.uniform(7, 9))
        where = {"ticket_id": ticket, "setup_id": self.setups[ticket], "taken_at": self.earlier()}
        answer = send_pull(self.tuner, self.house, steady.csv(), **where)
        if answer.status_code == 201:
            self.pulls.append((ticket, answer.json()["id"], answer.json()["state"] == "readable"))

    does_file_more = does_file

    def does_set_aside(self, _ticket: str) -> None:
        if self.pulls:
            path = f"/api/v1/pulls/{self.chance.choice(self.pulls)[1]}/set-aside"
            if self.tuner.post(path, json={"reason": "belt slipped"}).status_code != 201:
                assert self.tuner.delete(path).status_code == 200

    def does_publish(self, _ticket: str) -> None:
        readable = [(ticket, pull) for ticket, pull, could in self.pulls if could]
        if readable:
            ticket, pull = self.chance.choice(readable)
            wanted = {"pull_ids": [pull], "standard": "observed"}
            self.links.append(made(self.desk.post(f"/api/v1/tickets/{ticket}/results-links", json=wanted)))

    def does_follow(self, _ticket: str) -> None:
        if self.links:
            token = self.chance.choice(self.links)["url"].rpartition("/r/")[2]
            assert self.desk.post(f"/r/{token}/opened").status_code in (204, 404)

    does_follow_again = does_follow

    def does_revoke(self, _ticket: str) -> None:
        if self.links and self.chance.random() < 0.4:
            self.desk.delete(f"/api/v1/results-links/{self.chance.choice(self.links)['id']}")

    def does_change_the_shop(self, _ticket: str) -> None:
        shop = self.owner.get("/api/v1/shop").json()
        zones = ("Europe/Vienna", "Pacific/Auckland", "America/Los_Angeles")
        shop |= {"time_zone": self.chance.choice(zones), "prices_include_tax": self.chance.random() < 0.5}
        assert self.owner.put("/api/v1/shop", json=shop).status_code == 200


@pytest.mark.parametrize("seed", [1, 2])
def test_after_any_walk_what_is_kept_is_what_counting_anew_gives(
    app: Any, owner: Any, tuner: Any, desk: Any, house: Any, now: Any, seed: int
) -> None:
    walk = Walk(app, {"owner": owner, "tuner": tuner, "desk": desk}, house, now, seed)
    for number in range(120):
        walk.step()
        if number % 40 == 39:
            assert_nothing_amiss(app)
    assert len(walk.done) == len([name for name in dir(walk) if name.startswith("does_")])
    with app.state.database.reading() as session:
        opened, done, pulls = func.sum(MonthTotal.opened), func.sum(MonthTotal.done), func.sum(MonthTotal.pulls)
        hours, links = func.sum(MonthTotal.used_s), func.sum(MonthTotal.link_openings)
        assert all(session.execute(select(opened, done, pulls, hours, links)).one())


def test_writers_at_once_lose_no_count(app: Any, client_for: Any, desk: Any, house: Any) -> None:
    asked = {"customer_id": house.customer_id, "vehicle_id": house.vehicle_id, "asked": "All at once"}
    clients = [client_for("front_desk") for _ in range(THREADS)]

    def work(client: Any) -> None:
        for number in range(6):
            ticket = made(client.post("/api/v1/tickets", json=asked))["id"]
            for one in (ticket, house.ticket_id):  # all of them on the house's ticket too
                line = {"name": "Work", "kind_of_work": "tuning", "unit_price_cents": 1000 + number}
                made(client.post(f"/api/v1/tickets/{one}/charges", json=line))
            for state in ("checked_in", "in_cell", "ready", "collected"):
                made(client.post(f"/api/v1/tickets/{ticket}/steps", json={"state": state}))
            made(client.post(f"/api/v1/tickets/{house.ticket_id}/payments", json={"amount_cents": 7, "way": "cash"}))

    with ThreadPoolExecutor(THREADS) as threads:
        list(threads.map(work, clients))
    with app.state.database.reading() as session:
        total = session.execute(select(MonthTotal).where(MonthTotal.month == "2026-03")).scalar_one()
        assert (total.opened, total.done) == (THREADS * 6 + 1, THREADS * 6)
        assert total.came_in_cents == THREADS * 6 * 7
    assert_nothing_amiss(app)


def test_a_new_ticket_waits_for_no_other_of_its_customer(app: Any, desk: Any, house: Any) -> None:
    wanted = {"customer_id": house.customer_id, "vehicle_id": house.vehicle_id, "asked": "again"}
    for _ in range(2):
        with app.state.database.writing() as somebody:
            if not app.state.database.is_sqlite:  # which has one writer at a time
                somebody.execute(select(Ticket.id).with_for_update()).all()
            made(desk.post("/api/v1/tickets", json=wanted))
    assert_nothing_amiss(app)


def test_statements_that_name_no_ticket_are_counted_too(app: Any, desk: Any, house: Any, now: Any) -> None:
    desk.post(f"/api/v1/tickets/{house.ticket_id}/charges", json={"name": "Work", "unit_price_cents": 500})
    with app.state.database.writing() as session:
        reason = {"struck_at": now.value, "struck_by": select(Charge.made_by).scalar_subquery(), "struck_reason": "all"}
        session.execute(update(Charge).where(Charge.unit_price_cents == 500).values(**reason))
        session.execute(update(Ticket.__table__).values(state="on_hold"))
    assert_nothing_amiss(app)


def test_what_is_counted_is_watched_table_by_table() -> None:
    read = {table.name for part in RECORDS_OF.selects for table in part.get_final_froms()}
    assert read == set(NAMES_TICKET)


def test_a_write_that_fails_counts_nothing(app: Any, desk: Any, house: Any) -> None:
    with app.state.database.reading() as session:
        before = kept_rows(session)
    with pytest.raises(IntegrityError), app.state.database.writing() as session:
        session.execute(update(Ticket).values(number=-1))
    with app.state.database.reading() as session:
        assert kept_rows(session) == before


def test_links_are_counted_when_they_are_opened_by_their_address_alone(app: Any, house: Any) -> None:
    with app.state.database.writing() as session:
        session.execute(update(ResultsLink).where(ResultsLink.token_hash == "x" * 64).values(opened_count=3))
    assert_nothing_amiss(app)
