"""What tests of pages ask for besides: a ticket with two pulls of each setup, and a customer's link to them."""

from dataclasses import dataclass
from typing import Any

import pytest

from tests.api.pull_files import Steady, filed


@dataclass(frozen=True)
class Filed:
    """A ticket's pulls, baseline first, and its results link."""

    ticket_id: str
    pull_ids: tuple[str, ...]
    link_id: str
    link_path: str
    query: str


@pytest.fixture
def filed_pulls(tuner: Any, desk: Any, house: Any) -> Filed:
    """Two pulls of the baseline, two of the second setup, published."""
    pulls = []
    for setup_id, gain, start in (
        (house.setup_id, 8.0, 40.0),
        (house.setup_id, 8.1, 42.0),
        (house.second_setup_id, 8.8, 44.0),
        (house.second_setup_id, 8.9, 46.0),
    ):
        data = Steady(gain_rad_s2=gain, start_rad_s=start).csv()
        pulls.append(filed(tuner, house, data, setup_id=setup_id, file_name=f"run {start:.0f}.csv")["id"])
    wanted = {"pull_ids": pulls, "standard": "sae_j1349", "note": "New intake fitted", "days": 30}
    made = desk.post(f"/api/v1/tickets/{house.ticket_id}/results-links", json=wanted)
    assert made.status_code == 201, made.text
    path = made.json()["url"].removeprefix("http://pulls.example.test")
    return Filed(house.ticket_id, tuple(pulls), made.json()["id"], path, "&".join(f"pull_id={pull}" for pull in pulls))
