"""An amendment says why and when, whichever record stands behind it; what nobody entered is for `verify` to find."""

from typing import Any

import pytest
import sqlalchemy as sa

from pullbook.db.evidence import Pull
from pullbook.db.tables import Vehicle
from pullbook.shop.examining import Wanted, examine
from tests.api.pull_files import Steady, filed
from tests.furnishing import TUNER, sign_in


@pytest.fixture
def pulls(tuner: Any, house: Any) -> list[Any]:
    gains = ((8.0, 0), (8.4, 0), (8.8, 1))
    return [
        filed(tuner, house, Steady(gain_rad_s2=gain).csv(), setup_id=house.setup_ids[setup]) for gain, setup in gains
    ]


@pytest.fixture
def address(tuner: Any, house: Any, pulls: list[Any]) -> str:
    asked = {"pull_ids": [one["id"] for one in pulls], "standard": "iso_1585"}
    answer = tuner.post(f"/api/v1/tickets/{house.ticket_id}/results-links", json=asked)
    assert answer.status_code == 201, answer.text
    return str(answer.json()["url"].partition("example.test")[2])


def findings(app: Any, now: Any) -> list[str]:
    with app.state.database.reading() as session:
        return [one.words for one in examine(session, now.value, Wanted(), lambda _words: None).findings]


@pytest.mark.parametrize(
    ("language", "said"),
    [
        ("en", "On 13 March 2026, 10:00 the shop moved a pull to another setup"),
        ("de", "Am 13. März 2026, 10:00\u00a0Uhr hat die Werkstatt eine Messung einem anderen Stand zugeordnet"),
    ],
)
def test_a_pull_moved_to_another_setup_is_told_with_its_day(
    app: Any, anonymous: Any, tuner: Any, house: Any, now: Any, pulls: list[Any], address: str, language: str, said: str
) -> None:
    now.advance(days=3)
    sign_in(tuner, TUNER)
    moved = {"setup_id": house.setup_ids[1], "version": pulls[1]["version"]}
    assert tuner.patch(f"/api/v1/pulls/{pulls[1]['id']}", json=moved).status_code == 200
    assert said in anonymous.get(address, params={"lang": language}).text
    assert findings(app, now) == []


def test_what_was_corrected_about_the_car_is_told_with_its_day(
    app: Any, anonymous: Any, desk: Any, house: Any, now: Any, address: str
) -> None:
    car = desk.get(f"/api/v1/vehicles/{house.vehicle_id}").json()
    changed = {"ignition": "compression", "version": car["version"]}
    assert desk.patch(f"/api/v1/vehicles/{house.vehicle_id}", json=changed).status_code == 200
    later = {"notes": "Washed", "version": car["version"] + 1}
    now.advance(hours=1)
    assert desk.patch(f"/api/v1/vehicles/{house.vehicle_id}", json=later).status_code == 200
    assert "On 10 March 2026, 10:00 the shop corrected what is on record about the car" in anonymous.get(address).text
    assert findings(app, now) == []


@pytest.mark.parametrize("change", ["set_aside", "setup"])
def test_a_pull_changed_past_the_service_is_found(
    app: Any, house: Any, now: Any, pulls: list[Any], address: str, change: str
) -> None:
    values: dict[str, Any] = (
        {"set_aside_at": now.value, "set_aside_reason": "By hand", "set_aside_by": pulls[1]["operator_id"]}
        if change == "set_aside"
        else {"setup_id": house.setup_ids[1]}
    )
    with app.state.database.writing() as session:
        session.execute(sa.update(Pull).where(Pull.id == pulls[1]["id"]).values(values))
    (words,) = findings(app, now)
    assert f"pull {pulls[1]['id']}" in words
    assert "audit trail" in words


def test_a_car_changed_past_the_service_is_found(app: Any, house: Any, now: Any, address: str) -> None:
    with app.state.database.writing() as session:
        session.execute(sa.update(Vehicle).values(ignition="compression"))
    words = findings(app, now)
    assert words
    assert all("audit trail" in one for one in words)
