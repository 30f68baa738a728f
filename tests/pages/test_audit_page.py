"""The owner reads who did what: each change with what it was before, by record and by person, and the chain walked."""

from typing import Any

import sqlalchemy as sa

from pullbook.db.connect import connect


def test_each_change_stands_with_what_it_was_and_what_it_is(owner: Any, desk: Any, house: Any) -> None:
    ticket = desk.get(f"/api/v1/tickets/{house.ticket_id}").json()
    changed = desk.patch(
        f"/api/v1/tickets/{house.ticket_id}", json={"version": ticket["version"], "notes": "left <b>mirror</b> loose"}
    )
    assert changed.status_code == 200
    page = owner.get(f"/audit?record=ticket&record_id={house.ticket_id}").text
    assert "Wren Castellane" in page
    assert "left &lt;b&gt;mirror&lt;/b&gt; loose" in page
    assert f"/tickets/{house.ticket_id}" in page


def test_it_is_narrowed_by_person_and_empty_says_what_to_do(owner: Any, house: Any) -> None:
    (reader,) = [one for one in owner.get("/api/v1/staff").json()["items"] if one["role"] == "read_only"]
    page = owner.get(f"/audit?record=ticket&staff_id={reader['id']}").text
    assert "No entry fits" in page


def test_walking_the_chain_says_where_it_breaks(owner: Any, house: Any, settings: Any) -> None:
    assert "each entry follows" in owner.get("/audit?check=true").text
    records = connect(settings.database_url)
    with records.writing() as session:
        session.execute(sa.text("UPDATE audit_detail SET salt = 'ff' WHERE number = 3"))
    records.close()
    assert "breaks at entry 3" in owner.get("/audit?check=true").text


def test_nobody_else_reads_it(tuner: Any, desk: Any) -> None:
    assert tuner.get("/audit").status_code == desk.get("/audit").status_code == 403


def test_older_entries_are_a_link_away(owner: Any, desk: Any, house: Any) -> None:
    for number in range(70):
        assert desk.post("/api/v1/customers", json={"full_name": f"Person {number}"}).status_code == 201
    first = owner.get("/audit?record=customer").text
    assert "Person 69" in first
    assert "Person 3<" not in first
    cursor = first.rpartition("cursor=")[2].partition('"')[0]
    assert "Person 3<" in owner.get(f"/audit?record=customer&cursor={cursor}").text
