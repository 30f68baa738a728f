"""A cell's own computer sends files and weather by its token; a person says which pull each file is."""

import hashlib
from datetime import timedelta

import pytest
from sqlalchemy import select

from pullbook.db.evidence import Pull, RawFile
from pullbook.db.senders import TrayFile
from pullbook.db.tables import WeatherReading
from tests.api.pull_files import UNCLEAR, Steady

DATA = Steady().csv()
SHA256 = hashlib.sha256(DATA).hexdigest()


def rows(app, table):
    with app.state.database.reading() as session:
        return list(session.execute(select(table.__table__)).all())


@pytest.fixture
def device(owner, house, client_for):
    """A client that holds a device's token and no cookie."""
    made = owner.post("/api/v1/devices", json={"name": "Cell PC", "cell_id": house.cell_id})
    assert made.status_code == 201, made.text
    client = client_for()
    client.headers.pop("Origin")
    client.headers["Authorization"] = f"Bearer {made.json()['token']}"
    return client


def send(device, now, data=DATA, **changes):
    asked = {"file_name": "run 7.csv", "taken_at": (now.value - timedelta(minutes=3)).isoformat(), **changes}
    return device.post("/api/v1/device/pulls", params=asked, content=data, headers={"Content-Type": "text/csv"})


READING = {"air_temperature_c": 21.5, "station_pressure_kpa": 98.9, "relative_humidity_pct": 40.0}


def test_a_file_lies_in_the_tray_with_a_receipt_of_its_own_hash(device, now, desk):
    answer = send(device, now)
    assert answer.status_code == 201, answer.text
    receipt = answer.json()
    assert (receipt["sha256"], receipt["size_bytes"]) == (SHA256, len(DATA))
    assert receipt["received_at"] == now.value.isoformat()
    (waiting,) = desk.get("/api/v1/tray").json()["items"]
    assert (waiting["id"], waiting["device_name"], waiting["file_name"]) == (receipt["id"], "Cell PC", "run 7.csv")


def test_the_same_file_twice_is_there_once_with_the_same_receipt(device, now, app):
    first, again = send(device, now), send(device, now, file_name="copy.csv")
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    assert len(rows(app, TrayFile)) == len(rows(app, RawFile)) == 1


def test_it_becomes_a_pull_of_the_setup_that_a_tuner_names(device, now, tuner, house, app):
    tray_id = send(device, now).json()["id"]
    answer = tuner.post(f"/api/v1/tray/{tray_id}/assign", json={"setup_id": house.setup_id})
    assert answer.status_code == 201, answer.text
    pull = answer.json()
    assert (pull["sha256"], pull["state"], pull["ticket_id"]) == (SHA256, "readable", house.ticket_id)
    assert pull["taken_at"] == (now.value - timedelta(minutes=3)).isoformat()
    assert tuner.get(f"/api/v1/pulls/{pull['id']}/raw").content == DATA
    assert tuner.get("/api/v1/tray").json()["items"] == []
    again = tuner.post(f"/api/v1/tray/{tray_id}/assign", json={"setup_id": house.setup_id})
    assert again.status_code == 409
    assert pull["id"] in again.json()["detail"]
    assert len(rows(app, Pull)) == 1
    assert send(device, now).json()["pull_id"] == pull["id"]


def test_a_file_that_needs_a_channel_map_waits_as_a_pull_like_any_other(device, now, tuner, house):
    tray_id = send(device, now, UNCLEAR.csv()).json()["id"]
    pull = tuner.post(f"/api/v1/tray/{tray_id}/assign", json={"setup_id": house.setup_id}).json()
    assert pull["state"] == "unreadable"
    assert "needs a channel map" in pull["reason"]


def test_what_belongs_to_no_ticket_is_put_by_with_its_reason_and_stays(device, now, tuner, house):
    tray_id = send(device, now).json()["id"]
    assert tuner.post(f"/api/v1/tray/{tray_id}/put-by", json={"reason": ""}).status_code == 422
    put = tuner.post(f"/api/v1/tray/{tray_id}/put-by", json={"reason": "trial without a car"})
    assert put.status_code == 201
    assert tuner.get("/api/v1/tray").json()["items"] == []
    (left,) = tuner.get("/api/v1/tray?settled=true").json()["items"]
    assert left["put_by_reason"] == "trial without a car"
    late = tuner.post(f"/api/v1/tray/{tray_id}/assign", json={"setup_id": house.setup_id})
    assert late.status_code == 409


def test_an_unknown_setup_is_named(device, now, tuner):
    tray_id = send(device, now).json()["id"]
    answer = tuner.post(f"/api/v1/tray/{tray_id}/assign", json={"setup_id": "0123456789abc"})
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["field"] == "setup_id"


@pytest.mark.parametrize(("off_s", "put_right"), [(60, False), (-60, False), (7200, True), (-86400 * 300, True)])
def test_a_clock_that_is_far_off_is_put_right_and_told(device, now, off_s, put_right):
    off = timedelta(seconds=off_s)
    taken = now.value - timedelta(minutes=5)
    answer = send(device, now, taken_at=(taken + off).isoformat(), sent_at=(now.value + off).isoformat())
    assert answer.status_code == 201, answer.text
    assert answer.json()["clock_ahead_s"] == off_s
    expected = taken if put_right else taken + off
    assert answer.json()["taken_at"] == expected.isoformat()


def test_the_weather_is_written_down_once_however_often_it_is_sent(device, now, app):
    body = {"read_at": now.value.isoformat(), **READING}
    first, again = (device.post("/api/v1/device/weather", json=body) for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 200), again.text
    assert first.json() == again.json()
    assert first.json()["sha256"] == hashlib.sha256(first.request.content).hexdigest()
    (row,) = [row for row in rows(app, WeatherReading) if row.source == "Cell PC"]
    assert row.air_temperature_c == 21.5


def test_a_revoked_token_opens_nothing_and_what_it_sent_stays(device, now, owner, app):
    assert send(device, now).status_code == 201
    (listed,) = owner.get("/api/v1/devices").json()["items"]
    assert listed["last_used_at"] == now.value.isoformat()
    assert "token" not in listed
    assert owner.delete(f"/api/v1/devices/{listed['id']}").json()["revoked_at"] == now.value.isoformat()
    assert send(device, now, b"Time [s]\n1\n").status_code == 401
    assert len(rows(app, TrayFile)) == 1


@pytest.mark.parametrize("header", ["Bearer ", "Bearer nobody-holds-this", "Basic dXNlcjpwYXNz", "bearer"])
def test_a_token_that_nobody_holds_is_refused(anonymous, now, header):
    anonymous.headers["Authorization"] = header
    assert anonymous.get("/api/v1/device").status_code == 401


def test_the_token_is_kept_only_as_a_hash(device, app):
    token = device.headers["Authorization"].split()[1]
    with app.state.database.reading() as session:
        told = session.connection().exec_driver_sql("SELECT * FROM device").all()
    assert token not in str(told)
    assert hashlib.sha256(token.encode()).hexdigest() in str(told)


def test_a_file_that_is_no_run_file_is_refused_at_the_door(device, now, app):
    answer = send(device, now, b"PK\x03\x04" + b"\0" * 100)
    assert answer.status_code == 415
    assert rows(app, RawFile) == []


def test_two_devices_may_not_share_a_name(owner, house):
    body = {"name": "Cell PC", "cell_id": house.cell_id}
    assert owner.post("/api/v1/devices", json=body).status_code == 201
    assert owner.post("/api/v1/devices", json=body).json()["problems"][0]["field"] == "name"
    unknown = owner.post("/api/v1/devices", json={"name": "Other", "cell_id": "0123456789abc"})
    assert unknown.json()["problems"][0]["field"] == "cell_id"


@pytest.mark.parametrize("role", ["front_desk", "read_only"])
def test_who_may_not_assign_is_told_who_does(device, now, client_for, role):
    send(device, now)
    page = client_for(role).get("/tray").text
    assert "A tuner says which pull it is" in page
    assert "File it there" not in page


def test_the_pages_of_tray_and_devices_say_what_waits_and_what_to_type(device, now, tuner, owner, house):
    assert "The tray is empty" in tuner.get("/tray").text
    send(device, now, sent_at=(now.value + timedelta(hours=2)).isoformat())
    page = tuner.get("/tray").text
    assert "run 7.csv" in page
    assert "120 min ahead" in page
    assert f'value="{house.setup_id}"' in page
    assert "Cell PC" in owner.get("/devices").text
    assert owner.get("/cell_sender.py").text.startswith('"""Sends pull files')
