"""Filling the service with the year: ticket by ticket as people would do it, each with the hands that would."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from urllib.parse import urlsplit

from seed_demo.files import file_of
from seed_demo.folder import DemoError, Folder
from seed_demo.on_record import OnRecord
from seed_demo.people import DESK, OWNER, SHOP_ADDRESS, SHOP_NAME, STAFF, TIME_ZONE, TUNER
from seed_demo.plans import Job, PullTaken, SetupTaken, Year
from seed_demo.progress import Progress
from seed_demo.rollers import CELLS
from seed_demo.serving import first_owner_token
from seed_demo.speaking import Facts, Voice
from seed_demo.story_amended import AMENDED, SAID_AGAIN, put_air_right, say_again
from seed_demo.story_calibration import make_reference, reference_jobs, reference_readings
from seed_demo.story_loggers import join_answers, measured
from seed_demo.story_prices import charge, make_prices
from seed_demo.story_signing import check_in, sign_for
from seed_demo.story_track import before_the_track

PATHS: dict[str, tuple[str, ...]] = {  # the states that a ticket went through after it was booked
    "booked": (),
    "checked_in": ("checked_in",),
    "in_cell": ("checked_in", "in_cell"),
    "ready": ("checked_in", "in_cell", "ready"),
    "collected": ("checked_in", "in_cell", "ready", "collected"),
    "on_hold": ("checked_in", "in_cell", "on_hold"),
    "cancelled": ("cancelled",),
}


@dataclass
class Hands:
    """The three people, each signed in on a connection of their own."""

    owner: Voice
    tuner: Voice
    desk: Voice

    def close(self) -> None:
        """All of them hang up."""
        for voice in (self.owner, self.tuner, self.desk):
            voice.close()


@dataclass(frozen=True)
class Filled:
    """Where to look first: paths of the service."""

    ticket_path: str
    pull_path: str
    comparison_path: str
    results_path: str


def sign_everybody_in(address: str, folder: Folder, port: int) -> Hands:
    """The first owner by the one-time link, the others by the owner, unless they work here already."""
    fresh = not folder.sign_ins.exists()
    hands = Hands(Voice(address), Voice(address), Voice(address))
    try:
        _sign_in(hands, folder, port, fresh)
    except BaseException:
        hands.close()
        raise
    return hands


def _sign_in(hands: Hands, folder: Folder, port: int, fresh: bool) -> None:
    passwords = folder.passwords()
    if not hands.owner.sign_in(OWNER.sign_in_name, passwords[OWNER.sign_in_name]):
        _set_up(hands.owner, folder, port, passwords[OWNER.sign_in_name], fresh)
    known = {person["sign_in_name"] for person in hands.owner.get("/staff")["items"]}
    for person in STAFF:
        if person.sign_in_name not in known:
            body = {"sign_in_name": person.sign_in_name, "full_name": person.full_name, "role": person.role}
            hands.owner.post("/staff", body | {"password": passwords[person.sign_in_name]})
    for voice, person in ((hands.tuner, TUNER), (hands.desk, DESK)):
        if not voice.sign_in(person.sign_in_name, passwords[person.sign_in_name]):
            name = person.sign_in_name
            raise DemoError(f"{name} has another password than {folder.sign_ins} says. To start over: --fresh")
    shop = hands.owner.get("/shop")
    if not shop["address"]:
        hands.owner.put("/shop", shop | {"address": SHOP_ADDRESS})


def _set_up(owner: Voice, folder: Folder, port: int, password: str, fresh: bool) -> None:
    try:
        token = first_owner_token(folder, port)
    except DemoError as error:
        lost = f"{folder.sign_ins} is gone" if fresh else f"{folder.sign_ins} does not fit this database"
        raise DemoError(f"{error}\nIt seems that {lost}. To start over: --fresh") from None
    body = {"token": token, "sign_in_name": OWNER.sign_in_name, "full_name": OWNER.full_name, "password": password}
    owner.post("/staff/first", body | {"shop_name": SHOP_NAME, "time_zone": TIME_ZONE})
    owner.sign_in(OWNER.sign_in_name, password)


class Filling:
    """One go over the whole year; whatever is there already is left as it is."""

    def __init__(self, hands: Hands, year: Year, folder: Folder) -> None:
        self.hands, self.year, self.folder = hands, year, folder
        self.record = OnRecord(hands.owner, hands.desk)
        self.links = folder.kept_links()
        self.maps: dict[str, str] = {}
        self.prices: dict[str, str] = {}

    def all(self, progress: Progress) -> Filled:
        """Everything, oldest first."""
        days = {plan.from_days_ago for cell in CELLS for plan in cell.calibrations}
        noon = self.year.began_at.replace(hour=12, minute=0, second=0)
        self.record.cells_and_calibrations({ago: noon - timedelta(days=ago) for ago in days})
        self.maps = self.record.channel_maps(self.hands.tuner)
        self.prices = make_prices(self.hands.owner)
        house_car = reference_jobs(self.year)
        for reading in (
            *self.year.readings,
            *reference_readings(house_car),
        ):  # all of them first: one entered later would amend what is published
            self.record.reading(reading)
        watched = Progress(sum(len(job.setups[0].pulls) + 1 for job in house_car), "House car")
        for job in house_car:
            self._job(job, watched)
        watched.done()
        make_reference(self.hands.tuner, house_car, [self.record.ticket(job)["id"] for job in house_car])
        filled = {job.key: path for job in self.year.jobs if (path := self._job(job, progress))}
        self._after_publishing()
        if not filled:
            raise DemoError("Nothing could be published: the service reads none of the files sent.")
        return filled.get("exhaust-gains") or next(iter(filled.values()))

    def _after_publishing(self) -> None:
        """What a shop does to results that customers have already."""
        for job in self.year.jobs:
            if job.key == AMENDED:
                put_air_right(self.hands.desk, job, self.record.cells[job.plan.cell.name])
            if job.key == SAID_AGAIN and (made := say_again(self.hands.desk, job, self.record.ticket(job)["id"])):
                self.links |= made
                self.folder.keep_links(self.links)

    def _job(self, job: Job, progress: Progress) -> Filled | None:
        ticket = self.record.ticket(job)
        path = PATHS[job.plan.state]
        before_pulls = [state for state in path if state in ("checked_in", "in_cell")]
        ticket = self._go(job, ticket, before_pulls)
        pulls = list(self._setups(job, ticket["id"], progress))
        before_the_track(self.hands.tuner, job, ticket["id"])
        sign_for(self.hands.tuner, job, ticket["id"], self.record.cells[job.plan.cell.name])
        charge(self.hands.desk, job, ticket["id"], self.prices)
        ticket = self._go(job, ticket, path)
        check_in(self.hands.desk, job, ticket)
        progress.step()
        standing = [pull["id"] for pull in pulls if pull["state"] == "readable" and not pull["set_aside_reason"]]
        if not job.plan.link_note or not standing:
            return None
        query = "&".join(f"pull_id={pull_id}" for pull_id in standing)
        results = self._link(job, ticket["id"], standing)
        return Filled(f"/tickets/{ticket['id']}", f"/pulls/{standing[0]}", f"/compare?{query}", results)

    def _go(self, job: Job, ticket: Facts, path: Sequence[str]) -> Facts:
        """As far along the path as it is not yet; it has one step on its log more than moves, for the opening."""
        moves = len(ticket["steps"]) - 1
        if moves > len(path) or ticket["state"] != ("booked", *path)[moves]:
            return ticket  # somebody who tries the demo moved it elsewhere, and there it stays
        for state in path[moves:]:
            voice = self.hands.tuner if state in ("in_cell", "ready") else self.hands.desk
            note = job.plan.state_note if state == job.plan.state else ""
            step = {"state": state, "note": note, "at": job.moved_at[state].isoformat()}
            ticket = voice.post(f"/tickets/{ticket['id']}/steps", step)
        return ticket

    def _setups(self, job: Job, ticket_id: str, progress: Progress) -> Iterator[Facts]:
        if not job.setups:
            return
        tuner = self.hands.tuner
        setup_ids = [one["id"] for one in tuner.get(f"/tickets/{ticket_id}/setups")["items"]]
        filed = {one["file_name"]: one for one in tuner.every(f"/tickets/{ticket_id}/pulls")}
        for position, setup in enumerate(job.setups):
            if position == len(setup_ids):
                setup_ids.append(tuner.post(f"/tickets/{ticket_id}/setups", _setup_body(setup))["id"])
            for taken in setup.pulls:
                pull = filed.get(taken.file_name) or self._file(job, taken, ticket_id, setup_ids[position])
                if taken.set_aside and pull["version"] == 1:  # not yet, rather than taken back by hand
                    pull = tuner.post(f"/pulls/{pull['id']}/set-aside", {"reason": taken.set_aside})
                if taken.beside == "answers":
                    join_answers(tuner, pull["id"], taken, taken.taken_at)
                progress.step()
                yield pull

    def _file(self, job: Job, taken: PullTaken, ticket_id: str, setup_id: str) -> Facts:
        cell = job.plan.cell
        pulses = cell.calibrations[0].pulses_per_turn
        data = measured(taken, cell.logger) if taken.packed else file_of(taken, cell.logger, cell.brake_arm_m, pulses)
        chosen = {"channel_map_id": self.maps[taken.dialect]} if taken.dialect in self.maps else {}
        return self.hands.tuner.send_file(
            f"/tickets/{ticket_id}/pulls",
            data,
            setup_id=setup_id,
            cell_id=self.record.cells[cell.name],
            kind=taken.kind,
            taken_at=taken.taken_at.isoformat(),
            file_name=taken.file_name,
            **chosen,
        )

    def _link(self, job: Job, ticket_id: str, pull_ids: list[str]) -> str:
        """The customer's page. A link whose token nobody wrote down is of no use: it is revoked and made again."""
        path = f"/tickets/{ticket_id}/results-links"
        for link in self.hands.desk.every(path):
            if not link["live"]:
                continue
            if link["id"] in self.links:
                return self.links[link["id"]]
            self.hands.desk.delete(f"/results-links/{link['id']}")
        link = self.hands.desk.post(path, {"pull_ids": pull_ids, "standard": "iso_1585", "note": job.plan.link_note})
        self.links[link["id"]] = urlsplit(link["url"]).path
        self.folder.keep_links(self.links)
        return self.links[link["id"]]


def _setup_body(setup: SetupTaken) -> Facts:
    return {
        "name": setup.name,
        "changed": setup.changed,
        "gear": setup.gear,
        "engine_turns_per_roller_turn": round(setup.engine_turns_per_roller_turn, 4),
        "tyre_pressure_kpa": setup.tyre_pressure_kpa,
        "fuel": setup.fuel,
    }
