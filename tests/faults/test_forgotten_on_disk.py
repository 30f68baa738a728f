"""Whoever was forgotten does not lie about in the database's files: not in freed pages, not in the write-ahead log."""

from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import make_url

from tests.furnishing import made

NAME = "Ottiwell Brackenrigg"


def _on_disk(database_url: str) -> dict[str, int]:
    """How often the name stands in each of the database's files, searched as bytes."""
    file = Path(str(make_url(database_url).database))
    assert file.exists()
    return {one.name: one.read_bytes().count(NAME.encode()) for one in file.parent.glob(f"{file.name}*")}


@pytest.mark.parametrize("engine_name", ["sqlite"], indirect=True)
def test_a_forgotten_name_is_in_no_file_of_the_database(owner: Any, house: Any, settings: Any) -> None:
    customer = made(owner.post("/api/v1/customers", json={"full_name": NAME, "phone": "01632 960999"}))
    for number in range(40):  # enough that a page of words is freed whole
        changed = {"notes": f"{NAME} called {number}. " * 20, "version": customer["version"]}
        customer = owner.patch(f"/api/v1/customers/{customer['id']}", json=changed).json()
    assert sum(_on_disk(settings.database_url).values()) > 0
    asked = {"full_name": NAME, "reason": "asked by letter"}
    assert owner.post(f"/api/v1/customers/{customer['id']}/erase", json=asked).status_code == 200
    assert _on_disk(settings.database_url) == dict.fromkeys(_on_disk(settings.database_url), 0)
