"""What goes wrong at a busy desk: an hour that is taken, a page left half way, two tabs on one ticket, a second tap."""

import re
from typing import Any

TAKEN = {"booked_from": "2026-03-12T09:00:00+01:00", "booked_to": "2026-03-12T11:00:00+01:00"}


def _holder(desk: Any, house: Any) -> dict[str, Any]:
    wanted = {"customer_id": house.customer_id, "vehicle_id": house.vehicle_id, "cell_id": house.cell_id}
    answer = desk.post("/api/v1/tickets", json=wanted | TAKEN | {"asked": "First come"})
    assert answer.status_code == 201, answer.text
    return dict(answer.json())


def _pick(page: Any) -> None:
    page.goto("/tickets/new")
    page.keyboard.type("ilse", delay=20)
    page.wait_for_selector("#customer-find-found [aria-selected='true']")
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.activeElement.id === 'asked'")


def _open_it(page: Any) -> None:
    page.get_by_role("button", name="Open the ticket").click()


def _tickets(desk: Any, asked: str) -> int:
    return sum(one["asked"] == asked for one in desk.get("/api/v1/tickets").json()["items"])


def test_a_taken_hour_shows_whose_it_is_and_keeps_what_was_typed(page_as: Any, house: Any, desk: Any) -> None:
    holder = _holder(desk, house)
    page = page_as("front_desk")
    _pick(page)
    page.keyboard.type("Second come")
    page.fill("#booked_from", "2026-03-12T10:00")
    page.fill("#booked_to", "2026-03-12T12:00")
    _open_it(page)
    page.wait_for_selector("#day-plan .clashing")
    assert page.locator("#day-plan").get_attribute("data-day") == "2026-03-12"
    assert str(holder["number"]) in page.inner_text("#day-plan .clashing")
    said = page.inner_text("#ticket-new .form-problem")
    assert f"taken by ticket {holder['number']}" in said
    assert (
        page.get_by_role("link", name=f"Look at ticket {holder['number']}").get_attribute("href").endswith(holder["id"])
    )
    assert page.input_value("#asked") == "Second come"
    assert page.input_value("#booked_from") == "2026-03-12T10:00"
    page.locator("#day-plan [data-free^='2026-03-12T10:00']").click()  # eleven o'clock in Vienna, as the plan offers
    assert (page.input_value("#booked_from"), page.input_value("#booked_to")) == (
        "2026-03-12T11:00",
        "2026-03-12T12:00",
    )
    _open_it(page)
    page.wait_for_url(re.compile(r"/tickets/[0-9a-z]{13}$"))
    assert _tickets(desk, "Second come") == 1


def test_two_taps_open_one_ticket_and_going_back_does_not_offer_it_again(page_as: Any, house: Any, desk: Any) -> None:
    page = page_as("front_desk", has_touch=True)
    _pick(page)
    page.keyboard.type("Tapped twice")
    page.evaluate("document.activeElement.blur()")
    button = page.get_by_role("button", name="Open the ticket")
    button.evaluate("button => { button.click(); button.click(); button.form.requestSubmit(); }")
    page.wait_for_url(re.compile(r"/tickets/[0-9a-z]{13}$"))
    page.go_back()
    page.wait_for_url(re.compile(r"/tickets/new$"))
    assert page.input_value("#asked") == ""
    assert page.locator("#draft-note").is_hidden()
    assert _tickets(desk, "Tapped twice") == 1


def test_going_away_and_back_keeps_what_was_typed(page_as: Any, house: Any) -> None:
    page = page_as("front_desk")
    _pick(page)
    page.keyboard.type("Half a sentence")
    page.fill("#booked_from", "2026-03-13T10:30")
    page.get_by_role("link", name="Weather").click()
    page.wait_for_url(re.compile("/weather$"))
    page.go_back()
    page.wait_for_function("() => document.getElementById('asked').value === 'Half a sentence'")
    assert page.inner_text("#customer-picked strong") == "Ilse Marchetti-Vonn"
    assert page.input_value("#ticket-new [name=vehicle_id]") == house.vehicle_id
    assert page.input_value("#booked_from") == "2026-03-13T10:30"


def test_a_ticket_begun_before_is_offered_and_can_be_left(page_as: Any, house: Any) -> None:
    page = page_as("front_desk")
    _pick(page)
    page.keyboard.type("Begun before")
    for answer, kept in (("Go on with it", "Begun before"), ("Leave it", "")):
        page.goto("/weather")
        page.goto("/tickets/new")
        page.get_by_role("button", name=answer).click()
        page.wait_for_function("kept => document.getElementById('asked').value === kept", arg=kept)
    page.goto("/weather")
    page.goto("/tickets/new")
    assert page.locator("#draft-note").is_hidden()


def test_what_was_typed_is_gone_once_somebody_signs_out(page_as: Any, house: Any) -> None:
    page = page_as("front_desk")
    _pick(page)
    page.keyboard.type("Between us")
    page.goto("/weather")
    assert "Between us" in page.evaluate("JSON.stringify({...sessionStorage})")
    page.locator(".who summary").click()
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url(re.compile("/sign-in"))
    assert "Between us" not in page.evaluate("JSON.stringify({...sessionStorage})")


def test_two_tabs_on_one_ticket_show_the_conflict_and_keep_both_words(page_as: Any, house: Any, desk: Any) -> None:
    first, second = page_as("front_desk"), page_as("front_desk")
    for page in (first, second):
        page.goto(f"/tickets/{house.ticket_id}")
        page.get_by_text("Change booking, words or notes").click()
    first.fill("#change-notes", "Ring before six")
    first.locator("#rebooking button").click()
    first.wait_for_function("() => document.getElementById('change-notes').value === 'Ring before six'")
    second.fill("#change-notes", "Ring after six")
    second.locator("#rebooking button").click()
    second.wait_for_selector(".form-problem p")
    told = second.inner_text("main")
    assert "changed by somebody else meanwhile" in told
    assert "Ring before six" in told  # what it is now, beside the field
    assert second.input_value("#change-notes") == "Ring after six"
    assert desk.get(f"/api/v1/tickets/{house.ticket_id}").json()["notes"] == "Ring before six"


def test_a_ticket_is_booked_anew_from_its_page_with_the_plan_beside(page_as: Any, house: Any, desk: Any) -> None:
    holder = _holder(desk, house)
    page = page_as("front_desk")
    page.goto(f"/tickets/{house.ticket_id}")
    page.get_by_text("Change booking, words or notes").click()
    page.select_option("#change-cell", house.cell_id)
    page.fill("#change-from", "2026-03-12T09:30")
    page.fill("#change-to", "2026-03-12T10:30")
    page.locator("#rebooking button").click()
    page.wait_for_selector("#day-plan .clashing")
    assert str(holder["number"]) in page.inner_text("#day-plan .clashing")
    page.locator("#day-plan [data-free^='2026-03-12T10:00']").click()
    page.locator("#rebooking button").click()
    page.wait_for_selector("text=Thu 12 Mar 2026, 11:00 to 12:00")
    booked = desk.get(f"/api/v1/tickets/{house.ticket_id}").json()
    assert (booked["booked_from"], booked["cell_id"]) == ("2026-03-12T10:00:00+00:00", house.cell_id)


def test_who_moves_the_start_of_a_booking_moves_its_end(page_as: Any, house: Any, desk: Any) -> None:
    holder = _holder(desk, house)
    page = page_as("front_desk")
    page.goto(f"/tickets/{holder['id']}")
    page.get_by_text("Change booking, words or notes").click()
    page.fill("#change-from", "2026-03-13T13:30")
    page.dispatch_event("#change-from", "change")
    assert page.input_value("#change-to") == "2026-03-13T15:30"
    page.locator("#rebooking button").click()
    page.wait_for_selector("text=Fri 13 Mar 2026, 13:30 to 15:30")
    assert desk.get(f"/api/v1/tickets/{holder['id']}").json()["booked_to"] == "2026-03-13T14:30:00+00:00"


def test_a_booking_in_the_night_the_clock_goes_back_stays_where_it_is(page_as: Any, house: Any, desk: Any) -> None:
    # the first two o'clock of 2026-10-25 in Vienna: the clock alone would read it as the second
    at = {"booked_from": "2026-10-25T00:00:00+00:00", "booked_to": "2026-10-25T00:45:00+00:00"}
    version = desk.get(f"/api/v1/tickets/{house.ticket_id}").json()["version"]
    assert desk.patch(f"/api/v1/tickets/{house.ticket_id}", json={"version": version, **at}).status_code == 200
    page = page_as("front_desk")
    page.goto(f"/tickets/{house.ticket_id}")
    page.get_by_text("Change booking, words or notes").click()
    assert page.input_value("#change-from") == "2026-10-25T02:00"
    page.fill("#change-notes", "Night shift")
    page.locator("#rebooking button").click()
    page.wait_for_function("() => document.getElementById('change-notes').defaultValue === 'Night shift'")
    kept = desk.get(f"/api/v1/tickets/{house.ticket_id}").json()
    assert (kept["booked_from"], kept["booked_to"]) == (at["booked_from"], at["booked_to"])
