"""A customer's data taken away, and a customer forgotten."""

import hashlib
import io
import json
import zipfile
from concurrent.futures import ThreadPoolExecutor, wait

import pytest
import sqlalchemy as sa
from PIL import Image

from pullbook.db.connect import connect
from pullbook.db.tables import Customer
from pullbook.shop.auditing import first_broken_entry
from pullbook.shop.erasing import erase as forget_person
from pullbook.shop.examining import Wanted, examine
from tests.api.forgetting import all_text, erase
from tests.api.pull_files import Steady, filed
from tests.furnishing import CUSTOMER, OWNER, START, VEHICLE, made, sign_in

SECRETS = ("Imre", "gearbox whines", "key under the mat")


@pytest.fixture
def known(owner, house):
    """A customer whose name stands wherever people write it, with a pull and a results link."""
    ticket = owner.get(f"/api/v1/tickets/{house.ticket_id}").json()
    words = {"notes": "Imre says the gearbox whines", "keys_where": "key under the mat", "version": ticket["version"]}
    assert owner.patch(f"/api/v1/tickets/{house.ticket_id}", json=words).status_code == 200
    customer = owner.get(f"/api/v1/customers/{house.customer_id}").json()
    named = {"full_name": "Imre Valdaquist", "version": customer["version"]}
    assert owner.patch(f"/api/v1/customers/{house.customer_id}", json=named).status_code == 200
    pull = filed(owner, house, Steady().csv())
    wanted = {"pull_ids": [pull["id"]], "standard": "iso_1585", "note": "Dear Imre, here it is"}
    made(owner.post(f"/api/v1/tickets/{house.ticket_id}/results-links", json=wanted))
    return pull


def test_the_zip_holds_records_and_the_very_bytes_of_every_file(owner, house, known):
    answer = owner.get(f"/api/v1/customers/{house.customer_id}/export")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/zip"
    with zipfile.ZipFile(io.BytesIO(answer.content)) as kept:
        assert kept.testzip() is None
        records = json.loads(kept.read("records.json"))
        assert records["customer"]["full_name"] == "Imre Valdaquist"
        assert [one["id"] for one in records["pulls"]] == [known["id"]]
        assert "Imre Valdaquist" in kept.read("README.txt").decode()
        files = [name for name in kept.namelist() if name.startswith("files/")]
        assert [hashlib.sha256(kept.read(name)).hexdigest() for name in files] == [known["sha256"]]
        for line in kept.read("SHA256SUMS").decode().splitlines():
            digest, name = line.split("  ", 1)
            assert hashlib.sha256(kept.read(name)).hexdigest() == digest, name


def test_the_zip_holds_no_token_and_nobody_else(owner, house, known):
    other = made(owner.post("/api/v1/customers", json={**CUSTOMER, "full_name": "Someone Else"}))
    made(owner.post("/api/v1/vehicles", json={**VEHICLE, "customer_id": other["id"]}))
    with zipfile.ZipFile(io.BytesIO(owner.get(f"/api/v1/customers/{house.customer_id}/export").content)) as kept:
        told = kept.read("records.json").decode()
    assert "token_hash" not in told
    assert "pin_hash" not in told
    assert "Someone Else" not in told


def test_who_it_was_is_nowhere_in_the_database_afterwards(owner, house, known, settings):
    assert all(secret in all_text(settings) for secret in SECRETS)
    answer = erase(owner, house)
    assert answer.status_code == 200, answer.text
    assert answer.json()["file_names_kept"] == 1
    left = all_text(settings)
    assert [secret for secret in (*SECRETS, "Valdaquist", CUSTOMER["phone"], VEHICLE["plate"]) if secret in left] == []


def test_why_something_was_taken_out_goes_too_and_that_it_was_stays(owner, house, known, settings):
    why = {"reason": "Valdaquist asked for it"}
    second = filed(owner, house, Steady(gain_rad_s2=7.0).csv())
    made(owner.post(f"/api/v1/pulls/{second['id']}/set-aside", json=why))
    address = f"/api/v1/tickets/{house.ticket_id}"
    owner.post(f"{address}/charges", json={"name": "Hour", "unit_price_cents": 9})
    told = owner.post(f"{address}/payments", json={"amount_cents": 9, "way": "cash"}).json()
    for path in (f"charges/{told['charges'][0]['id']}", f"payments/{told['payments'][0]['id']}"):
        answer = owner.post(f"/api/v1/{path}/strike", json=why)
        assert answer.status_code in (200, 201), answer.text
    assert erase(owner, house).status_code == 200
    assert "Valdaquist" not in all_text(settings)
    assert owner.get(f"/api/v1/pulls/{second['id']}").json()["set_aside_reason"] == "Erased"


def test_pulls_stay_readable_and_the_trail_still_holds(owner, house, known, settings):
    before = owner.get(f"/api/v1/pulls/{known['id']}/curve?standard=iso_1585").json()
    erase(owner, house)
    after = owner.get(f"/api/v1/pulls/{known['id']}/curve?standard=iso_1585").json()
    assert after["power_w"] == before["power_w"]
    raw = owner.get(f"/api/v1/pulls/{known['id']}/raw").content
    assert hashlib.sha256(raw).hexdigest() == known["sha256"]
    records = connect(settings.database_url)
    with records.reading() as session:
        assert first_broken_entry(session) is None
    records.close()


def test_the_chain_of_entries_verifies_after_somebody_was_forgotten(owner, house, known, settings, now):
    assert erase(owner, house).status_code == 200
    records = connect(settings.database_url)
    with records.reading() as session:
        report = examine(session, now.value, Wanted(), lambda _words: None)
    records.close()
    assert report.findings == []


def test_links_of_an_erased_customer_open_no_more(owner, house, known):
    assert erase(owner, house).json()["links_ended"] == 1
    links = owner.get(f"/api/v1/tickets/{house.ticket_id}/results-links").json()["items"]
    assert all(link["revoked_at"] for link in links)


def test_a_link_that_had_run_out_cannot_be_made_longer_afterwards(owner, house, known, now):
    now.advance(days=120)
    sign_in(owner, OWNER)
    assert erase(owner, house).json()["links_ended"] == 0
    link = owner.get(f"/api/v1/tickets/{house.ticket_id}/results-links").json()["items"][0]
    longer = {"days": 30, "version": link["version"]}
    assert owner.patch(f"/api/v1/results-links/{link['id']}", json=longer).status_code in (409, 422)


def test_nothing_that_tells_who_it_was_is_written_onto_somebody_forgotten(owner, house, known):
    assert erase(owner, house).status_code == 200
    customer = owner.get(f"/api/v1/customers/{house.customer_id}").json()
    vehicle = owner.get(f"/api/v1/vehicles/{house.vehicle_id}").json()
    car, person = f"/api/v1/vehicles/{house.vehicle_id}", f"/api/v1/customers/{house.customer_id}"
    job = {"customer_id": house.customer_id, "vehicle_id": house.vehicle_id, "asked": "Once more"}
    tried = [
        owner.patch(person, json={"full_name": "Imre again", "version": customer["version"]}),
        owner.patch(person, json={"phone": "555 0100", "version": customer["version"]}),
        owner.patch(car, json={"plate": "QH 4711", "version": vehicle["version"]}),
        owner.post("/api/v1/vehicles", json={**VEHICLE, "customer_id": house.customer_id}),
        owner.post("/api/v1/tickets", json=job),
        *written_about(owner, house, known),
        *noted_beside(owner, house, known),
    ]
    for answer in tried:
        assert answer.status_code == 409, answer.text
        assert "new customer" in answer.json()["problems"][0]["would_do"]
    assert owner.get(person).json() == customer
    assert owner.get(car).json() == vehicle
    assert owner.get(f"/api/v1/tickets/{house.ticket_id}/photos").json()["items"] == []
    assert all(link["revoked_at"] for link in owner.get("/api/v1/results-links").json()["items"])


def written_about(client, house, pull):
    """Words, a photo and a page about somebody's job, tried one by one."""
    job = f"/api/v1/tickets/{house.ticket_id}"
    version = client.get(job).json()["version"]
    yield client.patch(job, json={"notes": "Imre called", "version": version})
    file = io.BytesIO()
    Image.new("RGB", (40, 30), "grey").save(file, "JPEG")
    yield client.post(f"{job}/photos", params={"file_name": "plate.jpg"}, content=file.getvalue())
    yield client.post(f"{job}/results-links", json={"pull_ids": [pull["id"]], "standard": "iso_1585", "note": "Imre"})


def noted_beside(client, house, pull, words="Imre called"):
    """Words beside a pull, a payment, limits and a track run of somebody's job, tried one by one."""
    job, file = f"/api/v1/tickets/{house.ticket_id}", f"/api/v1/pulls/{pull['id']}"
    yield client.patch(file, json={"notes": words, "version": client.get(file).json()["version"]})
    yield client.post(f"{job}/payments", json={"amount_cents": 100, "way": "cash", "note": words})
    limits = {"version": client.get(job).json()["version"], "note": words, "lambda_leaner_than": 0.9}
    yield client.put(f"{job}/limits", json=limits)
    setup_id = client.get(f"{job}/setups").json()["items"][0]["id"]
    run = {"setup_id": setup_id, "ran_at": START.isoformat(), "mass_kg": 1300.0, "distance_m": 402.336}
    yield client.post(f"{job}/track-runs", json={**run, "trap_speed_m_s": 45.0, "notes": words})


def test_figures_without_words_still_go_onto_a_forgotten_customers_job(owner, house, known):
    assert erase(owner, house).status_code == 200
    for answer in noted_beside(owner, house, known, ""):
        assert answer.status_code in (200, 201), answer.text


def test_what_is_added_while_somebody_is_being_forgotten_waits_and_is_refused(owner, house, known, app, now):
    database = app.state.database
    job = {"customer_id": house.customer_id, "vehicle_id": house.vehicle_id, "asked": "Once more"}
    words = {"amount_cents": 100, "way": "cash", "note": "Imre paid"}
    page = {"pull_ids": [known["id"]], "standard": "iso_1585", "note": "Imre"}
    with ThreadPoolExecutor(3) as others:
        with database.writing() as session:
            forget_person(session, now(), None, house.customer_id, "asked by letter")
            session.flush()
            asked = [
                others.submit(owner.post, "/api/v1/tickets", json=job),
                others.submit(owner.post, f"/api/v1/tickets/{house.ticket_id}/payments", json=words),
                others.submit(owner.post, f"/api/v1/tickets/{house.ticket_id}/results-links", json=page),
            ]
            wait(asked, timeout=0.5)  # all have come as far as they can by then, or come later: refused either way
        answers = [one.result() for one in asked]
    assert [answer.status_code for answer in answers] == [409, 409, 409]


def test_a_note_being_written_while_somebody_is_being_forgotten_is_emptied_or_refused(owner, house, known, app, now):
    file = f"/api/v1/pulls/{known['id']}"
    note = {"notes": "Imre called", "version": owner.get(file).json()["version"]}
    with ThreadPoolExecutor(1) as other:
        with app.state.database.writing() as session:
            session.execute(sa.select(Customer.id).where(Customer.id == house.customer_id).with_for_update())
            asked = other.submit(owner.patch, file, json=note)
            wait([asked], timeout=0.5)  # it has come as far as it can by then, or comes later
            forget_person(session, now(), None, house.customer_id, "asked by letter")
        assert asked.result().status_code in (200, 409)
    assert owner.get(file).json()["notes"] == ""


def test_a_forgotten_customers_car_is_still_put_right_and_goes_to_its_next_owner(owner, house, known):
    assert erase(owner, house).status_code == 200
    car = f"/api/v1/vehicles/{house.vehicle_id}"
    version = owner.get(car).json()["version"]
    assert owner.patch(car, json={"mass_kg": 1310.0, "version": version}).status_code == 200
    new = made(owner.post("/api/v1/customers", json=CUSTOMER))["id"]
    sold = {"customer_id": new, "plate": "QH 4711", "version": version + 1}
    answer = owner.patch(car, json=sold)
    assert answer.status_code == 200, answer.text
    assert answer.json()["plate"] == "QH 4711"


def test_another_name_erases_nobody(owner, house, known):
    answer = erase(owner, house, "Imre Valdakvist")
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["field"] == "full_name"
    assert owner.get(f"/api/v1/customers/{house.customer_id}").json()["full_name"] == "Imre Valdaquist"


def test_a_car_that_is_here_stands_against_it(owner, house, known):
    owner.get(f"/api/v1/tickets/{house.ticket_id}").json()
    step = {"state": "checked_in"}
    assert owner.post(f"/api/v1/tickets/{house.ticket_id}/steps", json=step).status_code in (200, 201)
    answer = erase(owner, house)
    assert answer.status_code == 409
    assert "ticket 1" in answer.json()["detail"]
