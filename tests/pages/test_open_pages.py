"""Pages open for whom they are meant, lead others to the sign-in page, and write nothing."""

from typing import Any

import pytest
from sqlalchemy import event

from tests.pages.conftest import Filed


def _paths(filed: Filed) -> dict[str, str]:
    return {
        "board": "/",
        "new ticket": "/tickets/new",
        "ticket": f"/tickets/{filed.ticket_id}",
        "comparison": f"/compare?{filed.query}&standard=din_70020",
        "pull": f"/pulls/{filed.pull_ids[0]}?window_s=0,4",
        "channel map": f"/pulls/{filed.pull_ids[0]}/channel-map",
        "weather": "/weather",
        "cells": "/cells",
        "staff": "/staff",
        "shop": "/shop",
    }


def test_every_page_opens_for_the_owner_and_is_not_kept_by_browsers(owner: Any, filed_pulls: Filed) -> None:
    for name, path in _paths(filed_pulls).items():
        answer = owner.get(path)
        assert answer.status_code == 200, f"{name}: {answer.text[:300]}"
        assert answer.headers["content-type"].startswith("text/html")
        assert answer.headers["cache-control"] == "no-store"


def test_nobody_signed_in_is_led_to_the_sign_in_page_and_back(anonymous: Any, filed_pulls: Filed) -> None:
    for path in _paths(filed_pulls).values():
        answer = anonymous.get(path)
        assert answer.status_code == 303, path
        assert "/sign-in?next=" in answer.headers["location"]


def test_cells_are_the_owners_alone(tuner: Any, desk: Any, house: Any) -> None:
    assert tuner.get("/cells").status_code == 403
    assert desk.get("/cells").status_code == 403
    assert 'href="/cells"' not in desk.get("/").text


def test_opening_pages_writes_nothing(app: Any, owner: Any, anonymous: Any, filed_pulls: Filed) -> None:
    written: list[str] = []

    def note(_connection: Any, _cursor: Any, statement: str, *_rest: Any) -> None:
        if statement.lstrip().upper().startswith(("INSERT", "UPDATE", "DELETE")):
            written.append(statement)

    for engine in (app.state.database.reader, app.state.database.writer):
        event.listen(engine, "before_cursor_execute", note)
    for path in _paths(filed_pulls).values():
        owner.get(path)
    anonymous.get(filed_pulls.link_path)
    assert written == []


def test_an_unknown_id_has_a_page_that_says_so(tuner: Any, house: Any) -> None:
    for path in ("/tickets/0000000000000", "/pulls/0000000000000", "/tickets/new?vehicle_id=nonsense"):
        answer = tuner.get(path)
        assert answer.status_code == 404, path
        assert answer.headers["content-type"].startswith("text/html")
        assert "To today’s board" in answer.text


@pytest.mark.parametrize("query", ["standard=wishful", "window_s=wide", "window_s=900", "step_rpm=1"])
def test_settings_in_the_address_that_will_not_do_are_refused_in_words(
    tuner: Any, filed_pulls: Filed, query: str
) -> None:
    answer = tuner.get(f"/compare?{filed_pulls.query}&{query}")
    assert answer.status_code == 422
    assert answer.headers["content-type"].startswith("text/html")


def test_the_sign_in_page_leads_on_to_pages_of_ours_only(anonymous: Any, house: Any) -> None:
    assert 'data-then="/weather"' in anonymous.get("/sign-in?next=/weather").text
    for elsewhere in ("https://evil.example/", "//evil.example", "/\\evil.example", "javascript:alert(1)"):
        page = anonymous.get("/sign-in", params={"next": elsewhere})
        assert 'data-then="/"' in page.text, elsewhere


def test_the_comparison_holds_drawing_figures_and_table_without_any_script(tuner: Any, filed_pulls: Filed) -> None:
    page = tuner.get(f"/compare?{filed_pulls.query}&standard=din_70020").text
    assert page.count("<svg viewBox") >= 2
    assert '<option value="din_70020" selected>' in page
    assert page.count('name="pull_id"') == 4
    assert "DIN 70020, at the wheels" in page
    assert "lines</summary>" in page


def test_a_comparison_in_csv_says_how_it_was_read_and_holds_every_grid_point(tuner: Any, filed_pulls: Filed) -> None:
    answer = tuner.get(f"/compare.csv?{filed_pulls.query}&standard=din_70020&step_rpm=100")
    lines = answer.content.decode("utf-8-sig").split("\r\n")
    assert lines[0].startswith("# DIN 70020")
    assert "attachment" in answer.headers["content-disposition"]
    head = next(number for number, line in enumerate(lines) if line.startswith('"engine speed'))
    rows = [line.split(",") for line in lines[head + 1 :] if line]
    compared = tuner.get(
        "/api/v1/comparisons", params={"pull_id": filed_pulls.pull_ids, "standard": "din_70020", "step_rpm": 100}
    ).json()
    assert [float(row[0]) for row in rows] == compared["engine_speed_rpm"]


def test_a_results_link_is_drawn_as_a_code_and_nothing_else_is(tuner: Any, filed_pulls: Filed) -> None:
    drawn = tuner.post("/qr", json={"text": f"http://pulls.example.test{filed_pulls.link_path}"})
    assert drawn.status_code == 200
    assert drawn.headers["content-type"] == "image/svg+xml"
    assert 'xmlns="http://www.w3.org/2000/svg"' in drawn.text
    assert tuner.post("/qr", json={"text": "https://evil.example/r/1"}).status_code == 422
