"""A shop's years as rows: cars, tickets with their steps, setups, pulls, charges, links; any size, any engine.

`python -m tests.bench.filled --database sqlite:////tmp/many.sqlite3 --pulls 10000`
What is drawn depends on the sizes and the seed alone. Raw files are a few that many pulls share, so a pull can be
opened and read; everything else is as the routes would have written it.
"""

import argparse
import random
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from pullbook.archive_commands import words_again
from pullbook.db.connect import Database, connect
from pullbook.db.evidence import ColumnBlock, Pull, RawFile, ResultsLink
from pullbook.db.migrating import migrate
from pullbook.db.money import Charge, Payment, PriceItem
from pullbook.db.stored_types import id_text
from pullbook.db.tables import (
    Calibration,
    Cell,
    ChannelMap,
    Counter,
    Customer,
    Setup,
    Shop,
    Staff,
    Ticket,
    TicketStep,
    Vehicle,
    WeatherReading,
)
from pullbook.settings import MIGRATIONS
from pullbook.shop.searching import findable
from tests.bench.filled_figures import drawn_figures
from tests.bench.filled_words import PARTS, WORK, Car, car_of, customer_of, draw_model, note_of
from tests.bench.pouring import Pouring, pouring, renew_statistics
from tests.bench.shared_files import shared_files
from tests.bench.typical_pull import calibration_of, run_lasting

UNTIL = datetime(2026, 3, 10, 9, 0, tzinfo=UTC)
OVER = ("booked", "checked_in", "in_cell", "ready", "collected")


@dataclass(frozen=True)
class Sizes:
    """How much of everything, over how many years up to `until`."""

    pulls: int = 10_000
    tickets: int = 0
    vehicles: int = 0
    customers: int = 0
    years: float = 8.0
    cells: int = 3
    until: datetime = UNTIL
    seed: int = 1

    @classmethod
    def of_pulls(cls, pulls: int, **others: Any) -> "Sizes":
        """The rest in its usual proportion: a million pulls are 200 000 tickets, 100 000 cars, 80 000 customers."""
        shares = {"tickets": max(1, pulls // 5), "vehicles": max(1, pulls // 10), "customers": max(1, pulls * 8 // 100)}
        return cls(pulls=pulls, **{**shares, **others})


class Ids:
    """Opaque ids of a given time: newer ones sort after older ones, as the service's own do, and no two are one."""

    def __init__(self) -> None:
        self._last = 0

    def at(self, moment: datetime) -> str:
        """The next id of this moment."""
        number = (int(moment.timestamp() * 1000) & (1 << 41) - 1) << 22
        self._last = (self._last + 1) & ((1 << 22) - 1)
        return id_text(number | self._last)


@dataclass
class Shopful:
    """What the rows refer to: made first, kept in memory."""

    staff_ids: list[str]
    cell_ids: list[str]
    map_id: str
    price_items: list[tuple[str, str, str, int]]
    file_hashes: list[str]


@dataclass
class Job:
    """One ticket as it was drawn."""

    id: str
    number: int
    opened_at: datetime
    vehicle: int
    state: str
    cell_id: str
    booked_from: datetime
    pulls: int


class Years:
    """Draws everything, step by step; each step is poured before the next."""

    def __init__(self, sizes: Sizes) -> None:
        self.sizes, self.chance, self.ids = sizes, random.Random(sizes.seed), Ids()
        self.begin = sizes.until - timedelta(days=365.25 * sizes.years)
        self.customers: list[str] = []
        self.vehicles: list[tuple[str, str, Car]] = []
        self.jobs: list[Job] = []
        self.pulls: list[tuple[str, datetime, str, float]] = []  # id, when, kind, the car's usual power in W
        self.shop: Shopful

    def moment(self, share: float) -> datetime:
        """So far through the years, at some time of a working day."""
        day = self.begin + (self.sizes.until - timedelta(days=2) - self.begin) * share
        return day.replace(hour=8 + self.chance.randrange(9), minute=self.chance.randrange(60), second=0, microsecond=0)

    def fill(self, into: Pouring) -> None:
        """All of it, in the order that references ask for."""
        self.found_shop(into)
        self.fill_customers(into)
        self.fill_vehicles(into)
        self.fill_tickets(into)
        self.fill_pulls(into)
        drawn_figures(into, self)
        self.fill_money(into)
        self.fill_links(into)

    def found_shop(self, into: Pouring) -> None:
        """The shop itself, who works there, cells with calibrations and hourly weather, the shared files."""
        at, new = self.begin, self.ids.at
        staff = [new(at) for _ in range(4)]
        cells = [new(at) for _ in range(self.sizes.cells)]
        into.rows(Shop, ["id", "name", "time_zone"], [(1, "Quarrystone Motor Works", "Europe/Vienna")])
        roles = ("owner", "tuner", "tuner", "front_desk")
        people = [(one, f"person.{n}", f"Person {n}", roles[n], "!", at, None) for n, one in enumerate(staff)]
        names = ["id", "sign_in_name", "full_name", "role", "password_hash", "created_at", "disabled_at"]
        into.rows(Staff, names, people)
        names = ["id", "name", "drive", "has_brake", "altitude_m"]
        into.rows(Cell, names, [(one, f"Cell {n + 1}", "all_wheel", True, 120.0) for n, one in enumerate(cells)])
        told = {**calibration_of(run_lasting(15.0)), "valid_from": at}
        rows = [(new(at), cell, at, staff[0], *told.values()) for cell in cells]
        into.rows(Calibration, ["id", "cell_id", "made_at", "made_by", *told], rows)
        self._pour_weather(into, cells, staff[1])
        files, map_columns = shared_files()
        map_id = new(at)
        into.rows(
            ChannelMap,
            ["id", "name", "columns", "made_at", "made_by"],
            [(map_id, "Logger of the house", map_columns, at, staff[1])],
        )
        into.rows(RawFile, ["sha256", "size_bytes", "zstd", "received_at"], [(*one.raw, at) for one in files])
        into.rows(
            ColumnBlock,
            ["sha256", "reader", "headers", "found", "row_count", "block"],
            [one.columns for one in files],
        )
        items = [(new(at), name, kind, cents) for name, kind, cents in WORK]
        into.rows(
            PriceItem,
            ["id", "name", "kind_of_work", "unit_price_cents", "tax_rate_bp", "made_at", "made_by"],
            [(*one, 2000, at, staff[0]) for one in items],
        )
        self.shop = Shopful(staff, cells, map_id, items, [one.raw[0] for one in files])

    def _pour_weather(self, into: Pouring, cells: list[str], by: str) -> None:
        days = int((self.sizes.until - self.begin).days) + 1

        def rows() -> Iterator[tuple[Any, ...]]:
            for day in range(days):
                for hour in (8, 11, 14, 17):
                    at = (self.begin + timedelta(days=day)).replace(hour=hour, minute=0, second=0, microsecond=0)
                    warm, kpa = 14.0 + self.chance.gauss(0, 6), 99.5 + self.chance.gauss(0, 0.8)
                    for cell in cells:
                        yield self.ids.at(at), cell, at, warm, kpa, "relative_pct", 45.0, "Wall instrument", at, by

        names = ["id", "cell_id", "read_at", "air_temperature_c", "station_pressure_kpa"]
        into.rows(WeatherReading, [*names, "humidity_kind", "humidity_value", "source", "made_at", "made_by"], rows())

    def fill_customers(self, into: Pouring) -> None:
        """People with names that recur as names do."""

        def rows() -> Iterator[tuple[Any, ...]]:
            for number in range(self.sizes.customers):
                at = self.moment(number / self.sizes.customers)
                one = self.ids.at(at)
                self.customers.append(one)
                name, phone, email = customer_of(number, self.chance)
                yield one, name, phone, email, "", findable(name, phone, email), at

        into.rows(Customer, ["id", "full_name", "phone", "email", "notes", "found_by", "made_at"], rows())

    def fill_vehicles(self, into: Pouring) -> None:
        """Cars of makes and models, some common and some rare."""
        names = ["id", "customer_id", "make", "model", "model_year", "plate", "vin", "engine", "displacement_l"]
        names += ["aspiration", "fuel", "drive", "engine_turns_per_roller_turn", "found_by", "made_at"]

        def rows() -> Iterator[tuple[Any, ...]]:
            for number in range(self.sizes.vehicles):
                share = number / self.sizes.vehicles
                at, holder = self.moment(share), self.customers[int(share * len(self.customers))]
                car = car_of(draw_model(self.chance), number, self.chance)
                one = self.ids.at(at)
                self.vehicles.append((one, holder, car))
                found_by = findable(car.plate, car.vin, car.make, car.model, car.year, car.engine)
                described = (car.make, car.model, car.year, car.plate, car.vin, car.engine, car.displacement_l)
                yield one, holder, *described, car.aspiration, car.fuel, "two_wheel", 5.0, found_by, at

        into.rows(Vehicle, names, rows())

    def fill_tickets(self, into: Pouring) -> None:
        """Jobs with every step they took; the newest few are still open."""
        names = ["id", "number", "customer_id", "vehicle_id", "asked", "cell_id", "booked_from", "booked_to", "state"]
        names += ["odometer_km", "notes", "made_at", "made_by"]

        def rows() -> Iterator[tuple[Any, ...]]:
            for number in range(self.sizes.tickets):
                job = self._job(number)
                self.jobs.append(job)
                vehicle_id, holder, _ = self.vehicles[job.vehicle]
                ends = job.booked_from + timedelta(hours=2)
                asked = f"{self.chance.choice(PARTS)}: before and after"
                known = (job.id, job.number, holder, vehicle_id, asked, job.cell_id, job.booked_from, ends, job.state)
                yield *known, 20_000 + number % 180_000, "", job.opened_at, self.shop.staff_ids[3]

        into.rows(Ticket, names, rows())
        into.rows(TicketStep, ["id", "ticket_id", "state", "at", "by"], self._steps())
        into.rows(Counter, ["name", "last"], [("ticket", len(self.jobs))])

    def _job(self, number: int) -> Job:
        share = number / self.sizes.tickets
        opened_at = self.moment(share)
        age_days = (self.sizes.until - opened_at).days
        state = "collected" if age_days > 6 else self.chance.choice(OVER)
        if self.chance.random() < 0.04:
            state = "cancelled"
        whole = self.sizes.pulls * (number + 1) // self.sizes.tickets - self.sizes.pulls * number // self.sizes.tickets
        # a car comes back some time after it was first seen, or was seen only now
        newest = min(len(self.vehicles) - 1, int(share * len(self.vehicles)))
        vehicle = newest if self.chance.random() < 0.5 else int(newest * self.chance.random())
        booked = opened_at + timedelta(days=self.chance.randrange(1, 6))
        cell = self.chance.choice(self.shop.cell_ids)
        return Job(self.ids.at(opened_at), number + 1, opened_at, vehicle, state, cell, booked, whole)

    def _steps(self) -> Iterator[tuple[Any, ...]]:
        for job in self.jobs:
            walked = ("booked", "cancelled") if job.state == "cancelled" else OVER[: OVER.index(job.state) + 1]
            for place, state in enumerate(walked):
                at = job.opened_at if place == 0 else job.booked_from + timedelta(minutes=40 * (place - 1))
                yield self.ids.at(at), job.id, state, at, self.shop.staff_ids[place % 4]

    def fill_pulls(self, into: Pouring) -> None:
        """Setups and their pulls; some set aside, some with a note."""
        setups: list[tuple[Any, ...]] = []
        by_job: list[list[str]] = []
        for job in self.jobs:
            made = [self.ids.at(job.booked_from) for _ in range(1 if job.pulls < 3 else 2)]
            by_job.append(made)
            for position, one in enumerate(made):
                name = "Baseline" if position == 0 else self.chance.choice(PARTS)
                changed = "" if position == 0 else f"{name} fitted"
                setups.append((one, job.id, position, name, changed, "4", job.booked_from, self.shop.staff_ids[1]))
        names = ["id", "ticket_id", "position", "name", "changed", "gear", "made_at", "made_by"]
        into.rows(Setup, names, setups)
        names = ["id", "ticket_id", "setup_id", "cell_id", "sha256", "kind", "taken_at", "received_at", "file_name"]
        names += ["operator_id", "channel_map_id", "state", "set_aside_reason", "set_aside_at", "set_aside_by", "notes"]
        into.rows(Pull, names, self._pulls(by_job))

    def _pulls(self, by_job: list[list[str]]) -> Iterator[tuple[Any, ...]]:
        tuner, hashes, draw = self.shop.staff_ids[1], self.shop.file_hashes, self.chance.random
        for job, setups in zip(self.jobs, by_job, strict=True):
            for number in range(job.pulls):
                at = job.booked_from + timedelta(minutes=5 + 6 * number, seconds=self.chance.randrange(60))
                setup = setups[number * len(setups) // job.pulls]
                aside = ("Wheel slip", at, tuner) if draw() < 0.02 else (None, None, None)
                one, kind = self.ids.at(at), "sweep" if draw() < 0.96 else "hold"
                self.pulls.append((one, at, kind, self.vehicles[job.vehicle][2].power_w))
                where = (one, job.id, setup, job.cell_id, hashes[number % len(hashes)])
                note = note_of(self.chance) if draw() < 0.1 else ""
                yield *where, kind, at, at, f"run-{number}.csv", tuner, self.shop.map_id, "readable", *aside, note

    def fill_money(self, into: Pouring) -> None:
        """A line or three on each job that was done, and what was paid."""
        lines: list[tuple[Any, ...]] = []
        paid: list[tuple[Any, ...]] = []
        desk = self.shop.staff_ids[3]
        for job in self.jobs:
            if job.state not in ("ready", "collected"):
                continue
            at, whole = job.booked_from + timedelta(hours=1), 0
            for item, name, kind, cents in self.chance.sample(self.shop.price_items, self.chance.randint(1, 3)):
                lines.append((self.ids.at(at), job.id, item, name, kind, 1000, cents, 2000, at, desk))
                whole += cents * 120 // 100
            if job.state == "collected":
                paid.append((self.ids.at(at), job.id, whole, "card", at, at, desk))
        names = ["id", "ticket_id", "price_item_id", "name", "kind_of_work", "quantity_milli", "unit_price_cents"]
        into.rows(Charge, [*names, "tax_rate_bp", "made_at", "made_by"], lines)
        into.rows(Payment, ["id", "ticket_id", "amount_cents", "way", "paid_at", "made_at", "made_by"], paid)

    def fill_links(self, into: Pouring) -> None:
        """A results link for two of three jobs that were done; nobody holds their tokens."""
        names = ["id", "ticket_id", "token_hash", "pull_ids", "standard", "digest", "published", "made_at", "made_by"]

        def rows() -> Iterator[tuple[Any, ...]]:
            for job in self.jobs:
                if job.state != "collected" or self.chance.random() < 0.34:
                    continue
                at, opened = job.booked_from + timedelta(hours=3), self.chance.randrange(4)
                one = (self.ids.at(at), job.id, f"{job.number:064x}", [], "iso_1585", "", {}, at)
                yield *one, self.shop.staff_ids[1], at + timedelta(days=90), opened

        into.rows(ResultsLink, [*names, "ends_at", "opened_count"], rows())


def fill(database: Database, sizes: Sizes, *, texts: bool = True) -> Years:
    """Fill an empty database of today's schema in one transaction, then write what tickets are found by."""
    years = Years(sizes)
    with pouring(database) as into:
        years.fill(into)
    if texts:
        for _ in words_again(database):
            pass
    renew_statistics(database)
    return years


def main() -> None:
    """Make such a database and say how long it took."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--database", required=True, help="its address, as the service's settings take it")
    asked.add_argument("--pulls", type=int, default=10_000)
    asked.add_argument("--years", type=float, default=8.0)
    asked.add_argument("--seed", type=int, default=1)
    told = asked.parse_args()
    migrate(told.database, MIGRATIONS)
    database, began = connect(told.database), time.perf_counter()
    fill(database, Sizes.of_pulls(told.pulls, years=told.years, seed=told.seed))
    print(f"{told.pulls} pulls in {time.perf_counter() - began:.1f} s")
    database.close()


if __name__ == "__main__":
    main()
