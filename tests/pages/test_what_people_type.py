"""What people type into names, notes and files is shown as text, everywhere it is shown."""

from typing import Any

from tests.api.pull_files import Steady, send_pull
from tests.furnishing import VEHICLE, made

EVIL = '</script><img src=x onerror="alert(1)">\'"><svg onload=alert(2)>{{7*7}}'


def test_markup_in_names_notes_headings_and_file_names_stays_text(
    desk: Any, tuner: Any, anonymous: Any, house: Any
) -> None:
    customer = made(desk.post("/api/v1/customers", json={"full_name": f"N {EVIL}", "phone": EVIL, "notes": EVIL}))
    car = {**VEHICLE, "customer_id": customer["id"], "make": f"M {EVIL}", "plate": EVIL, "engine": EVIL}
    vehicle = made(desk.post("/api/v1/vehicles", json=car))
    wanted = {"customer_id": customer["id"], "vehicle_id": vehicle["id"], "asked": EVIL, "notes": EVIL}
    ticket = made(desk.post("/api/v1/tickets", json=wanted))
    setup = made(
        tuner.post(f"/api/v1/tickets/{ticket['id']}/setups", json={"name": EVIL, "changed": EVIL, "gear": EVIL})
    )
    asked = {"ticket_id": ticket["id"], "setup_id": setup["id"], "file_name": f"f {EVIL}.csv"}
    pull = made(send_pull(tuner, house, Steady().csv(), **asked))
    link = made(
        desk.post(
            f"/api/v1/tickets/{ticket['id']}/results-links",
            json={"pull_ids": [pull["id"]], "standard": "iso_1585", "note": EVIL, "days": 9},
        )
    )
    results = link["url"].removeprefix("http://pulls.example.test")
    pages = {
        "board": desk.get("/"),
        "new": desk.get(f"/tickets/new?vehicle_id={vehicle['id']}"),
        "ticket": tuner.get(f"/tickets/{ticket['id']}"),
        "compare": tuner.get(f"/compare?pull_id={pull['id']}"),
        "pull": tuner.get(f"/pulls/{pull['id']}"),
        "map": tuner.get(f"/pulls/{pull['id']}/channel-map"),
        "results": anonymous.get(results),
    }
    for name, answer in pages.items():
        assert answer.status_code == 200, name
        assert "<img src=x" not in answer.text, name
        assert "<svg onload" not in answer.text, name
        assert "</script><img" not in answer.text, name
        assert "49" not in answer.text.split("<title>")[1].split("</title>")[0], name
    assert "&lt;img src=x" in pages["ticket"].text


def test_a_refusals_page_shows_the_address_asked_for_as_text(tuner: Any, house: Any) -> None:
    answer = tuner.get("/compare", params={"standard": "<script>alert(1)</script>"})
    assert answer.status_code == 422
    assert "<script>alert" not in answer.text
