"""Adding, finding and changing customers."""

from typing import Any


def _customer(**changes: Any) -> dict[str, Any]:
    return {"full_name": "Óscar Brambilla", "phone": "+43 660 12 34 567", "email": "Oscar@Example.test", **changes}


def test_it_keeps_what_was_sent(desk: Any) -> None:
    answer = desk.post("/api/v1/customers", json=_customer(notes="two cars\npays late"))
    assert answer.status_code == 201, answer.text
    kept = answer.json()
    assert kept["full_name"] == "Óscar Brambilla"
    assert kept["notes"] == "two cars\npays late"
    assert kept["version"] == 1
    assert desk.get(f"/api/v1/customers/{kept['id']}").json() == kept


def test_it_finds_by_any_words_however_they_are_typed(desk: Any) -> None:
    kept = desk.post("/api/v1/customers", json=_customer()).json()
    desk.post("/api/v1/customers", json=_customer(full_name="Ada Quill", phone="1", email=""))
    for typed in ("oscar", "BRAMB", "brambilla óscar", "6601234567", "oscar@example", "660 12"):
        found = desk.get("/api/v1/customers", params={"find": typed}).json()["items"]
        assert [one["id"] for one in found] == [kept["id"]], typed
    for typed in ("oscar quill", "%", "o_car"):
        assert desk.get("/api/v1/customers", params={"find": typed}).json()["items"] == [], typed


def test_it_lists_newest_first_a_page_at_a_time(desk: Any) -> None:
    made = [desk.post("/api/v1/customers", json=_customer(full_name=f"Person {n}")).json()["id"] for n in range(5)]
    seen, cursor = [], None
    while True:
        page = desk.get("/api/v1/customers", params={"limit": 2, **({"cursor": cursor} if cursor else {})}).json()
        seen += [one["id"] for one in page["items"]]
        cursor = page["next"]
        if cursor is None:
            break
    assert sorted(seen) == sorted(made)
    assert seen == sorted(made, reverse=True)


def test_it_refuses_a_cursor_that_no_page_gave(desk: Any) -> None:
    answer = desk.get("/api/v1/customers", params={"cursor": "nonsense"})
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["field"] == "cursor"


def test_it_refuses_unknown_fields_blank_names_and_control_characters(desk: Any) -> None:
    for wrong, field in (
        (_customer(id="0000000000000"), "id"),
        (_customer(full_name="   "), "full_name"),
        (_customer(full_name="a\x00b"), "full_name"),
        (_customer(notes="bell\x07"), "notes"),
    ):
        answer = desk.post("/api/v1/customers", json=wrong)
        assert answer.status_code == 422, wrong
        assert answer.json()["problems"][0]["field"] == field


def test_it_changes_only_what_is_sent(desk: Any) -> None:
    kept = desk.post("/api/v1/customers", json=_customer()).json()
    address = f"/api/v1/customers/{kept['id']}"
    changed = desk.patch(address, json={"version": 1, "phone": "555 0001"}).json()
    assert changed == {**kept, "phone": "555 0001", "version": 2}
    assert desk.get("/api/v1/customers", params={"find": "5550001"}).json()["items"] == [changed]


def test_it_refuses_null_where_none_is_allowed(desk: Any) -> None:
    kept = desk.post("/api/v1/customers", json=_customer()).json()
    answer = desk.patch(f"/api/v1/customers/{kept['id']}", json={"version": 1, "full_name": None})
    assert answer.status_code == 422


def test_it_tells_a_second_tab_what_the_first_one_saved(desk: Any) -> None:
    kept = desk.post("/api/v1/customers", json=_customer()).json()
    address = f"/api/v1/customers/{kept['id']}"
    desk.patch(address, json={"version": 1, "phone": "first"})
    answer = desk.patch(address, json={"version": 1, "phone": "second"})
    assert answer.status_code == 409
    told = {problem["field"]: problem for problem in answer.json()["problems"]}
    assert told["version"]["would_do"].startswith("it is 2 now")
    assert told["phone"]["value"] == "second"
    assert "'first'" in told["phone"]["would_do"]
    assert desk.get(address).json()["phone"] == "first"


def test_it_writes_every_edit_into_the_audit_trail(desk: Any, owner: Any) -> None:
    kept = desk.post("/api/v1/customers", json=_customer()).json()
    desk.patch(f"/api/v1/customers/{kept['id']}", json={"version": 1, "phone": "555 0001"})
    entries = owner.get("/api/v1/audit", params={"record": "customer", "record_id": kept["id"]}).json()["items"]
    assert [entry["action"] for entry in entries] == ["change", "make"]
    assert entries[0]["before"] == {"phone": "+43 660 12 34 567"}
    assert entries[0]["after"] == {"phone": "555 0001"}


def test_nobody_reads_customers_without_signing_in(anonymous: Any) -> None:
    assert anonymous.get("/api/v1/customers").status_code == 401
