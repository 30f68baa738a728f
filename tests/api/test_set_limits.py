"""Setting a ticket's limits, and holding its pulls to them."""

from typing import Any

import numpy as np
import pytest

from tests.api.beside_files import Answered, without_mixture
from tests.api.pull_files import Steady, filed
from tests.furnishing import TICKET

LIMITS = {"lambda_leaner_than": 0.88, "oil_temperature_c_above": 130.0, "fuel_pressure_kpa_below": 280.0}
HEADINGS = ("Time [s]", "Roller speed [rad/s]", "Engine speed [rpm]", "Lambda", "Oil temperature [°C]")


def _limits(client: Any, ticket_id: str) -> dict[str, Any]:
    answer = client.get(f"/api/v1/tickets/{ticket_id}/limits")
    assert answer.status_code == 200, answer.text
    return answer.json()


def _set(client: Any, ticket_id: str, wanted: dict[str, Any], **more: Any) -> Any:
    version = more.pop("version", None) or _limits(client, ticket_id)["version"]
    return client.put(f"/api/v1/tickets/{ticket_id}/limits", json={"version": version, **wanted, **more})


def _hot(lambda_value: float = 0.9) -> bytes:
    """A pull whose oil goes from 110 to 142 °C over its eight seconds: past 130 °C at 5 s."""
    time = np.arange(801) / 100.0
    roller = 40.0 + 8.0 * time
    engine = roller * 5.2 * 30.0 / np.pi
    columns = [time, roller, engine, lambda_value + 0.0 * time, 110.0 + 4.0 * time]
    rows = "\n".join(",".join(f"{value:.6f}" for value in row) for row in np.column_stack(columns))
    return (",".join(HEADINGS) + "\n" + rows + "\n").encode()


def test_a_new_ticket_has_no_limits(desk: Any, house: Any) -> None:
    found = _limits(desk, house.ticket_id)
    assert (found["items"], found["earlier"]) == ([], None)
    assert "local codes and licensed practice decide" in found["advice"]


def test_limits_that_are_set_stand_in_order_with_who_set_them(tuner: Any, house: Any) -> None:
    answer = _set(tuner, house.ticket_id, LIMITS, note="Customer's own figures")
    assert answer.status_code == 200, answer.text
    kept = {one["quantity"]: one for one in answer.json()["items"]}
    assert list(kept) == ["lambda_leaner_than", "fuel_pressure_kpa_below", "oil_temperature_c_above"]
    assert {name: one["value"] for name, one in kept.items()} == LIMITS
    assert {one["note"] for one in kept.values()} == {"Customer's own figures"}
    assert {one["made_by_name"] for one in kept.values()} == {"Tadeo Brandvik"}
    assert kept["oil_temperature_c_above"]["unit"] == "°C"
    assert answer.json() == _limits(tuner, house.ticket_id)


def test_putting_replaces_all_and_what_stays_keeps_its_time(tuner: Any, house: Any, now: Any) -> None:
    first = {one["quantity"]: one for one in _set(tuner, house.ticket_id, LIMITS).json()["items"]}
    now.advance(minutes=5)
    changed = {"lambda_leaner_than": 0.88, "oil_temperature_c_above": 125.0, "fuel_pressure_kpa_below": None}
    second = {one["quantity"]: one for one in _set(tuner, house.ticket_id, changed).json()["items"]}
    assert second["lambda_leaner_than"] == first["lambda_leaner_than"]
    assert second["oil_temperature_c_above"]["made_at"] > first["oil_temperature_c_above"]["made_at"]
    assert "fuel_pressure_kpa_below" not in second


def test_setting_the_same_again_changes_nothing(tuner: Any, owner: Any, house: Any) -> None:
    was = _set(tuner, house.ticket_id, LIMITS).json()
    entries = len(owner.get("/api/v1/audit").json()["items"])
    assert _set(tuner, house.ticket_id, LIMITS).json() == was
    assert len(owner.get("/api/v1/audit").json()["items"]) == entries


def test_every_change_stands_in_the_audit_trail(tuner: Any, owner: Any, house: Any) -> None:
    _set(tuner, house.ticket_id, LIMITS)
    _set(tuner, house.ticket_id, {})
    latest, first = owner.get("/api/v1/audit").json()["items"][:2]
    assert (latest["action"], latest["record"], latest["record_id"]) == ("change", "ticket_limits", house.ticket_id)
    assert latest["before"] == LIMITS
    assert latest["after"] == {"note": ""}
    assert first["before"] == {}


def test_somebody_who_saw_an_older_ticket_is_told_and_nothing_is_kept(tuner: Any, house: Any) -> None:
    was = _limits(tuner, house.ticket_id)["version"]
    _set(tuner, house.ticket_id, LIMITS)
    answer = _set(tuner, house.ticket_id, {"oil_temperature_c_above": 150.0}, version=was)
    assert answer.status_code == 409
    assert {one["quantity"] for one in _limits(tuner, house.ticket_id)["items"]} == set(LIMITS)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("lambda_leaner_than", 14.7),  # an air–fuel ratio
        ("oil_temperature_c_above", 266.0),  # °F
        ("manifold_pressure_kpa_above", 1.8),  # bar
        ("fuel_pressure_kpa_below", 3.5),
        ("knock_retard_deg_beyond", -2.0),
        ("coolant_temperature_c_above", "hot"),
        ("exhaust_temperature_c_above", 900.0),
    ],
)
def test_a_limit_that_cannot_be_meant_is_refused_by_its_name(tuner: Any, house: Any, field: str, value: Any) -> None:
    answer = _set(tuner, house.ticket_id, {field: value})
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["field"] == field
    assert answer.json()["problems"][0]["would_do"]


def test_the_cars_earlier_limits_are_offered_and_count_only_once_they_are_put(
    tuner: Any, desk: Any, house: Any
) -> None:
    _set(tuner, house.ticket_id, LIMITS)
    told = {"customer_id": house.customer_id, "vehicle_id": house.vehicle_id, **TICKET}
    later = desk.post("/api/v1/tickets", json=told).json()
    found = _limits(desk, later["id"])
    assert found["items"] == []
    assert found["earlier"]["ticket_id"] == house.ticket_id
    assert {one["quantity"]: one["value"] for one in found["earlier"]["items"]} == LIMITS
    assert _limits(desk, house.ticket_id)["earlier"] is None


def _check(client: Any, pull: dict[str, Any]) -> dict[str, Any]:
    answer = client.get(f"/api/v1/pulls/{pull['id']}/limits")
    assert answer.status_code == 200, answer.text
    return {one["quantity"]: one for one in answer.json()["items"]}


def test_a_pull_says_what_was_passed_when_for_how_long_and_by_how_much(tuner: Any, house: Any) -> None:
    pull = filed(tuner, house, _hot())
    _set(tuner, house.ticket_id, LIMITS)
    found = _check(tuner, pull)
    oil, lean, fuel = (
        found[name] for name in ("oil_temperature_c_above", "lambda_leaner_than", "fuel_pressure_kpa_below")
    )
    assert (oil["state"], lean["state"], fuel["state"]) == ("passed", "passed", "unchecked")
    assert oil["passings"][0]["first_s"] == pytest.approx(5.01, abs=0.02)
    assert oil["passings"][0]["engine_speed_rpm"] == pytest.approx((40.0 + 8.0 * 5.01) * 5.2 * 30.0 / np.pi, abs=5.0)
    assert oil["lasted_s"] == pytest.approx(3.0, abs=0.03)
    assert oil["by"] == pytest.approx(12.0, abs=0.01)
    assert lean["by"] == pytest.approx(0.02, abs=1e-6)
    assert fuel["why_not"] == "cannot be checked: no fuel pressure in this file"


def test_what_was_passed_is_the_first_flag_of_curve_and_comparison(tuner: Any, house: Any) -> None:
    pull = filed(tuner, house, _hot())
    address = f"/api/v1/pulls/{pull['id']}/curve"
    before = tuner.get(address)
    assert "limit_passed" not in [flag["code"] for flag in before.json()["flags"]]
    _set(tuner, house.ticket_id, {"oil_temperature_c_above": 130.0})
    after = tuner.get(address, headers={"If-None-Match": before.headers["etag"]})
    assert after.status_code == 200  # what the client held is no longer what would be said
    flag = after.json()["flags"][0]
    assert flag["code"] == "limit_passed"
    assert "oil temperature above 130.0 °C from 5.01 s" in flag["text"]
    assert after.json()["power_w"] == before.json()["power_w"]
    compared = tuner.get("/api/v1/comparisons", params={"pull_id": pull["id"]}).json()
    assert compared["setups"][0]["pulls"][0]["flags"][0]["code"] == "limit_passed"


def test_limits_count_for_pulls_of_any_kind(tuner: Any, house: Any) -> None:
    pull = filed(tuner, house, _hot(), kind="hold")
    _set(tuner, house.ticket_id, {"oil_temperature_c_above": 130.0})
    assert _check(tuner, pull)["oil_temperature_c_above"]["state"] == "passed"


def test_limits_that_were_kept_are_said_to_be_kept(tuner: Any, house: Any) -> None:
    pull = filed(tuner, house, Steady().csv())
    _set(tuner, house.ticket_id, {"lambda_leaner_than": 0.95})
    found = _check(tuner, pull)["lambda_leaner_than"]
    assert (found["state"], found["closest"], found["passings"]) == ("kept", 0.9, [])
    assert found["looked_at_s"] > 5.0


def test_without_limits_a_pull_has_nothing_to_be_held_to(tuner: Any, house: Any) -> None:
    assert _check(tuner, filed(tuner, house, _hot())) == {}


def test_channels_of_a_joined_file_are_held_to_the_limits_too(tuner: Any, house: Any) -> None:
    pull = filed(tuner, house, without_mixture())
    _set(tuner, house.ticket_id, {"coolant_temperature_c_above": 85.0, "oil_temperature_c_above": 130.0})
    assert _check(tuner, pull)["coolant_temperature_c_above"]["state"] == "unchecked"
    address = f"/api/v1/pulls/{pull['id']}/joined-files"
    assert tuner.post(address, params={"file_name": "drive 4.log"}, content=Answered().can()).status_code == 201
    found = _check(tuner, pull)
    assert found["coolant_temperature_c_above"]["by"] == pytest.approx(3.0)
    assert found["oil_temperature_c_above"]["state"] == "unchecked"
