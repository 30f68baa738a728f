"""Every state that a customer's page can be in, made through the API as a shop would come to it."""

from dataclasses import dataclass
from typing import Any

from tests.api.pull_files import Steady
from tests.furnishing import WEATHER

GAINS = {  # what each setup's pulls gained, in rad/s²
    "fresh": ((8.0, 8.05, 8.1), (8.8, 8.85, 8.9)),
    "amended": ((8.0, 8.05), (8.8, 8.85)),
    "replaced": ((8.0, 8.05), (8.8, 8.85)),
    "replacing": ((8.0, 8.05), (8.8, 8.85)),
    "pin": ((8.0, 8.05), (8.8, 8.85)),
    "ended": ((8.0, 8.05), (8.8, 8.85)),
    "no_difference": ((8.0, 8.01, 8.02, 8.03), (8.005, 8.015, 8.02, 8.025)),
    "not_enough": ((8.0, 8.4), (8.2, 8.7)),
    "one_setup": ((8.0, 8.05, 8.1), ()),
    "warnings": ((8.0, 8.05), (8.8, 8.85)),
}
STATES = tuple(GAINS)
TITLES = {  # something that stands on the page in this state and in no other
    "amended": "Amended since it was published",
    "replaced": "Replaced by a newer result",
    "replacing": "These replace earlier results",
    "pin": "These results want a PIN",
    "ended": "Nothing to show here",
    "no_difference": "makes no difference larger than",
    "not_enough": "too few pulls tell",
    "one_setup": "the mean of 3 pulls",
    "warnings": "Not the same throughout.",
}


@dataclass
class Shop:
    """The furnished shop, spoken to over HTTP."""

    api: Any
    address: str
    house: Any

    def post(self, path: str, data: Any, **asked: Any) -> Any:
        answer = self.api.post(f"/api/v1{path}", data=data, headers={"Origin": self.address}, **asked)
        assert answer.status < 300, f"{path}: {answer.status} {answer.text()}"
        return answer.json()

    def file(self, ticket_id: str, setup_id: str, gain: float, minute: int) -> str:
        """A pull of its own bytes, some minutes after the morning's weather."""
        asked = {
            "setup_id": setup_id, "cell_id": self.house.cell_id, "kind": "sweep",
            "taken_at": f"2026-03-10T08:{minute:02d}:00+00:00", "file_name": f"run {gain}.csv",
        }  # fmt: skip
        data = Steady(gain_rad_s2=gain, start_rad_s=40.0 + minute / 50.0).csv()
        headers = {"Content-Type": "text/csv", "Origin": self.address}
        answer = self.api.post(f"/api/v1/tickets/{ticket_id}/pulls", params=asked, data=data, headers=headers)
        assert answer.status == 201, answer.text()
        return answer.json()["id"]

    def published(self, state: str, **more: Any) -> tuple[str, list[str], dict[str, Any]]:
        """A ticket with its pulls and its link; gives the ticket, the pulls and the link."""
        owner = {"customer_id": self.house.customer_id, "vehicle_id": self.house.vehicle_id}
        ticket = self.post("/tickets", {**owner, "asked": f"Does it do anything? ({state})"})["id"]
        pulls = []
        for number, gains in enumerate(GAINS[state]):
            if not gains:
                continue
            told = {
                "name": ("As it came", "New intake")[number],
                "changed": ("", "Intake with a larger filter")[number],
            }
            if state == "warnings":
                told["gear"] = str(4 + number)
            setup = self.post(f"/tickets/{ticket}/setups", told)["id"]
            pulls += [self.file(ticket, setup, gain, 20 + 8 * number + at) for at, gain in enumerate(gains)]
        return ticket, pulls, self.link(ticket, pulls, **more)

    def link(self, ticket: str, pulls: list[str], **more: Any) -> dict[str, Any]:
        wanted = {"pull_ids": pulls, "standard": "sae_j1349", "note": "Intake fitted, mixture trimmed.", "days": 30}
        return self.post(f"/tickets/{ticket}/results-links", {**wanted, **more})


def made(shop: Shop, state: str) -> str:
    """The address of a page in this state."""
    ticket, pulls, link = shop.published(state, **({"pin": "482907"} if state == "pin" else {}))
    if state == "amended":
        reading = {**WEATHER, "cell_id": shop.house.cell_id, "supersedes_id": shop.house.weather_id}
        shop.post("/weather", {**reading, "air_temperature_c": 31.0, "source": "the cell’s second thermometer"})
        shop.post(f"/pulls/{pulls[0]}/set-aside", {"reason": "the driver lifted early"})
    if state in ("replaced", "replacing"):
        shop.post(f"/pulls/{pulls[0]}/set-aside", {"reason": "the driver lifted early"})
        newer = shop.link(ticket, pulls, replaces_id=link["id"])
        return newer["url"] if state == "replacing" else link["url"]
    if state == "warnings":
        shop.post(f"/pulls/{pulls[1]}/set-aside", {"reason": "wheel slip"})
    if state == "ended":
        answer = shop.api.delete(f"/api/v1/results-links/{link['id']}", headers={"Origin": shop.address})
        assert answer.status == 200, answer.text()
    return link["url"]


__all__ = ["STATES", "TITLES", "Shop", "made"]
