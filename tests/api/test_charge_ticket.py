"""Charging a ticket: from the price list or a line of its own; what is wrong is struck, never edited."""

import pytest

ITEM = {
    "name": "Pull session",
    "kind_of_work": "measuring",
    "unit": "hour",
    "unit_price_cents": 12000,
    "tax_rate_bp": 2000,
}


@pytest.fixture
def item(owner):
    answer = owner.post("/api/v1/price-items", json=ITEM)
    assert answer.status_code == 201, answer.text
    return answer.json()


def charges(house):
    return f"/api/v1/tickets/{house.ticket_id}/charges"


def test_one_tap_charges_from_the_list_and_tells_what_is_due(desk, item, house):
    answer = desk.post(f"{charges(house)}/from-list", json={"price_item_ids": [item["id"]]})
    assert answer.status_code == 201, answer.text
    told = answer.json()
    assert (told["without_tax_cents"], told["total_cents"], told["due_cents"]) == (12000, 14400, 14400)
    assert told["state"] == "not paid"
    assert told["charges"][0]["made_by_name"] == "Wren Castellane"


def test_a_later_price_leaves_what_was_charged_alone(desk, owner, item, house):
    desk.post(f"{charges(house)}/from-list", json={"price_item_ids": [item["id"]]})
    dearer = owner.patch(f"/api/v1/price-items/{item['id']}", json={"version": 1, "unit_price_cents": 15000})
    assert dearer.json()["unit_price_cents"] == 15000
    assert desk.get(charges(house)).json()["total_cents"] == 14400
    stale = owner.patch(f"/api/v1/price-items/{item['id']}", json={"version": 1, "unit_price_cents": 1})
    assert stale.status_code == 409


def test_what_is_no_longer_offered_cannot_be_charged(desk, owner, item, house):
    owner.patch(f"/api/v1/price-items/{item['id']}", json={"version": 1, "on_the_list": False})
    assert desk.get("/api/v1/price-items").json()["items"] == []
    refused = desk.post(f"{charges(house)}/from-list", json={"price_item_ids": [item["id"]]})
    assert refused.status_code == 422
    assert refused.json()["problems"][0]["field"] == "price_item_ids"
    assert len(desk.get("/api/v1/price-items?retired=true").json()["items"]) == 1


def test_a_discount_is_a_line_below_nought(desk, house):
    desk.post(charges(house), json={"name": "Fitting", "unit_price_cents": 30000, "quantity_milli": 1500})
    told = desk.post(charges(house), json={"name": "Returning car", "unit_price_cents": -5000}).json()
    assert told["total_cents"] == 40000


def test_a_struck_line_stays_marked_and_counts_no_more(desk, house):
    told = desk.post(charges(house), json={"name": "Oil", "unit_price_cents": 9000}).json()
    charge_id = told["charges"][0]["id"]
    assert desk.post(f"/api/v1/charges/{charge_id}/strike", json={"reason": ""}).status_code == 422
    struck = desk.post(f"/api/v1/charges/{charge_id}/strike", json={"reason": "brought their own"}).json()
    assert struck["total_cents"] == 0
    assert struck["charges"][0]["struck_reason"] == "brought their own"
    again = desk.post(f"/api/v1/charges/{charge_id}/strike", json={"reason": "twice"})
    assert again.status_code == 409


def test_payments_add_up_and_a_wrong_one_is_struck(desk, house, now):
    desk.post(charges(house), json={"name": "Tuning", "unit_price_cents": 50000})
    pay = f"/api/v1/tickets/{house.ticket_id}/payments"
    assert desk.post(pay, json={"amount_cents": 20000, "way": "card"}).json()["state"] == "part paid"
    paid = desk.post(pay, json={"amount_cents": 30000, "way": "cash"}).json()
    assert (paid["state"], paid["due_cents"]) == ("paid", 0)
    struck = desk.post(f"/api/v1/payments/{paid['payments'][1]['id']}/strike", json={"reason": "another car's"}).json()
    assert struck["due_cents"] == 30000
    for wrong in ({"amount_cents": 0, "way": "cash"}, {"amount_cents": 5, "way": "barter"}):
        assert desk.post(pay, json=wrong).status_code == 422


def test_the_currency_and_how_prices_are_told_are_the_owner_s(desk, owner, house):
    desk.post(charges(house), json={"name": "Tuning", "unit_price_cents": 12000, "tax_rate_bp": 2000})
    shop = owner.get("/api/v1/shop").json()
    changed = owner.put("/api/v1/shop", json={**shop, "currency": "CHF", "prices_include_tax": True})
    assert changed.status_code == 200, changed.text
    told = desk.get(charges(house)).json()
    assert (told["currency"], told["without_tax_cents"], told["total_cents"]) == ("CHF", 10000, 12000)
    assert owner.put("/api/v1/shop", json={**changed.json(), "currency": "euro"}).status_code == 422


def test_the_pages_tell_it_as_people_write_money(desk, item, house):
    assert "The list is empty" not in desk.get("/prices").text
    desk.post(f"{charges(house)}/from-list", json={"price_item_ids": [item["id"]]})
    page = desk.get(f"/tickets/{house.ticket_id}/statement").text
    assert "not a tax document" in page
    assert "144.00" in page
    assert "not paid" in page
    assert "144.00" in desk.get(f"/tickets/{house.ticket_id}").text
