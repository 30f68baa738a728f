"""`pullbook months rebuild`: counts everything anew, and says whether that comes to what was kept."""

from typing import Any

import pytest
from sqlalchemy import text, update

from pullbook.cli import main
from pullbook.db.months import MonthsKept, MonthTotal


@pytest.fixture
def rebuild(monkeypatch: pytest.MonkeyPatch, settings: Any, capsys: pytest.CaptureFixture[str]) -> Any:
    """Run the command on the test's database; gives what it says."""
    monkeypatch.setenv("PULLBOOK_DATABASE_URL", settings.database_url)

    def run() -> str:
        assert main(["months", "rebuild"]) == 0
        return capsys.readouterr().out

    return run


def test_it_finds_what_is_kept_as_it_should_be(rebuild: Any, owner: Any, house: Any) -> None:
    assert rebuild() == "1 ticket counted; it comes to what was kept\n"


def test_it_puts_right_what_was_kept_otherwise(rebuild: Any, app: Any, owner: Any, house: Any) -> None:
    with app.state.database.writing() as session:
        session.execute(update(MonthTotal).values(opened=77))
    assert "was otherwise" in rebuild()
    assert owner.get("/api/v1/throughput?month=2026-03&months=1").json()["items"][0]["opened"] == 1


def test_months_that_were_never_counted_are_said_to_be_none(rebuild: Any, app: Any, owner: Any, house: Any) -> None:
    with app.state.database.writing() as session:
        session.execute(update(MonthsKept).values(counting_version=0))
        session.execute(text("DELETE FROM month_total"))
    refused = owner.get("/api/v1/throughput")
    assert refused.status_code == 503
    assert "pullbook months rebuild" in refused.json()["detail"]
    assert "pullbook months rebuild" in owner.get("/month").text
    assert owner.post("/api/v1/tickets", json=_ticket(house)).status_code == 201  # nothing else depends on them
    assert rebuild() == "2 tickets counted\n"
    assert owner.get("/api/v1/throughput?month=2026-03&months=1").json()["items"][0]["opened"] == 2


def _ticket(house: Any) -> dict[str, str]:
    return {"customer_id": house.customer_id, "vehicle_id": house.vehicle_id, "asked": "Does it run?"}
