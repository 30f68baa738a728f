"""Odd questions: NUL bytes, wildcards, far years and huge numbers are answered, never a fault."""

from typing import Any

import pytest

ODD = [
    "/api/v1/customers?find=%00",
    "/api/v1/vehicles?find=a%00b",
    "/api/v1/tickets?find=%25",
    "/api/v1/tickets?find=%C3%28",
    "/api/v1/tickets?find=99999999999999999999999999",
    "/api/v1/tickets?day=9999-12-31",
    "/api/v1/tickets?day=0001-01-01",
    "/api/v1/tickets?cursor=%00",
    "/api/v1/tickets?customer_id=%00&vehicle_id=%F0%9F%98%80",
    "/api/v1/tickets?limit=100000000000000000000",
    "/api/v1/audit?cursor=9223372036854775808",
    "/api/v1/audit?record=%00",
    "/api/v1/audit?record_id=%00&staff_id=%00",
    "/api/v1/weather?cell_id=%00",
    "/api/v1/customers/%00",
    "/api/v1/pulls/%F0%9F%98%80/raw",
    "/api/v1/comparisons?pull_id=%00",
    "/api/v1/comparisons?pull_id=x&standard=%00",
]


@pytest.mark.parametrize("address", ODD)
def test_it_is_answered_plainly(owner: Any, house: Any, address: str) -> None:
    answer = owner.get(address)
    assert answer.status_code in (200, 404, 422), answer.text


@pytest.mark.parametrize("at", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-12:00", "1899-12-31T00:00:00Z"])
def test_a_year_out_of_reach_is_named(owner: Any, house: Any, at: str) -> None:
    told = {"customer_id": house.customer_id, "vehicle_id": house.vehicle_id, "asked": "x"}
    answer = owner.post("/api/v1/tickets", json={**told, "booked_from": at, "booked_to": at})
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["field"] == "booked_from"


def test_half_a_letter_is_refused(owner: Any, house: Any) -> None:
    body = b'{"full_name": "a\\ud800b"}'
    answer = owner.post("/api/v1/customers", content=body, headers={"Content-Type": "application/json"})
    assert answer.status_code == 422
