"""Limits and timed runs on their pages: what was passed first, what cannot be told, and nothing typed as markup."""

from typing import Any

import pytest

from tests.api.pull_files import Steady, filed
from tests.api.test_set_limits import _hot
from tests.furnishing import TICKET

LIMITS = {"lambda_leaner_than": 0.88, "oil_temperature_c_above": 130.0, "fuel_pressure_kpa_below": 280.0}


def _page(client: Any, path: str) -> str:
    answer = client.get(path, headers={"Accept": "text/html"})
    assert answer.status_code == 200, answer.text
    return answer.text


def _set(client: Any, house: Any, wanted: dict[str, Any]) -> None:
    version = client.get(f"/api/v1/tickets/{house.ticket_id}/limits").json()["version"]
    answer = client.put(f"/api/v1/tickets/{house.ticket_id}/limits", json={"version": version, **wanted})
    assert answer.status_code == 200, answer.text


def _run(client: Any, house: Any, **changes: Any) -> dict[str, Any]:
    told = {"setup_id": house.setup_id, "ran_at": "2026-03-09T15:20:00+01:00", "mass_kg": 1340.0}
    told |= {"distance_m": 402.336, "elapsed_s": 15.9, **changes}
    answer = client.post(f"/api/v1/tickets/{house.ticket_id}/track-runs", json=told)
    assert answer.status_code == 201, answer.text
    return answer.json()


def test_what_was_passed_stands_before_anything_else_of_the_pull(tuner: Any, house: Any) -> None:
    pull = filed(tuner, house, _hot(1.05))
    _set(tuner, house, LIMITS)
    page = _page(tuner, f"/pulls/{pull['id']}")
    passed = page.index("Limit passed")
    assert passed < page.index("Look first:")  # leaner than wanted, by the sweep's own rule
    assert passed < page.index("figure-value")
    assert "oil temperature above 130.0" in page
    assert "fuel pressure below 280.0\u00a0kPa cannot be checked: no fuel pressure in this file." in page
    assert page.count("local codes and licensed practice decide") == 1


def test_a_pull_that_kept_its_limits_says_so_without_alarm(tuner: Any, house: Any) -> None:
    pull = filed(tuner, house, Steady().csv())
    _set(tuner, house, {"lambda_leaner_than": 0.95})
    page = _page(tuner, f"/pulls/{pull['id']}")
    assert "1 limit kept" in page
    assert "Limit passed" not in page
    assert "λ is told" in page


def test_a_pull_of_a_ticket_without_limits_says_nothing_of_them(tuner: Any, house: Any) -> None:
    page = _page(tuner, f"/pulls/{filed(tuner, house, _hot())['id']}")
    assert "limits-heading" not in page


def test_a_ticket_without_limits_says_what_to_do_to_those_who_may(tuner: Any, desk: Any, house: Any) -> None:
    for client, may in ((tuner, True), (desk, False)):
        page = _page(client, f"/tickets/{house.ticket_id}")
        assert "No limits are set" in page
        assert ("Save the limits" in page) is may
        assert "No timed run yet" in page
        assert ("Enter the run" in page) is may


def test_a_returning_car_is_offered_its_earlier_limits(tuner: Any, desk: Any, house: Any) -> None:
    _set(tuner, house, LIMITS)
    told = {"customer_id": house.customer_id, "vehicle_id": house.vehicle_id, **TICKET}
    later = desk.post("/api/v1/tickets", json=told).json()
    page = _page(tuner, f"/tickets/{later['id']}")
    assert "Take these over" in page
    assert 'name="oil_temperature_c_above" value="130" data-as="number"' in page
    assert "Take these over" not in _page(desk, f"/tickets/{later['id']}")


def test_runs_stand_in_a_table_and_a_drawing_beside_their_pulls(tuner: Any, house: Any) -> None:
    filed(tuner, house, Steady().csv())
    _run(tuner, house, trap_speed_mph=85.0)
    _run(tuner, house, elapsed_s=19.0, notes="<b>spun</b>")
    page = _page(tuner, f"/tickets/{house.ticket_id}")
    assert "quarter mile" in page
    assert "136.8\u00a0km/h" in page
    assert "17 %" in page
    assert "Observed peak at the wheels" in page
    assert page.count('<circle class="dot setup-a"') == 2
    assert "<b>spun</b>" not in page
    assert "&lt;b&gt;spun&lt;/b&gt;" in page


def test_a_run_that_is_set_aside_is_shown_with_its_reason_and_not_drawn(tuner: Any, house: Any) -> None:
    run = _run(tuner, house)
    told = {"version": 1, "set_aside_reason": "missed third"}
    assert tuner.patch(f"/api/v1/track-runs/{run['id']}", json=told).status_code == 200
    page = _page(tuner, f"/tickets/{house.ticket_id}")
    assert "missed third" in page
    assert "Every run is set aside" in page
    assert '<circle class="dot setup-a"' not in page


@pytest.mark.parametrize("path", ["curve.svg", "curve.parquet", "channels.csv", "channels.parquet"])
def test_a_pulls_page_offers_its_numbers_to_take_away(tuner: Any, house: Any, path: str) -> None:
    pull = filed(tuner, house, Steady().csv())
    assert f"/api/v1/pulls/{pull['id']}/{path}" in _page(tuner, f"/pulls/{pull['id']}")
