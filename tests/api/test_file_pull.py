"""Filing a pull: the file is kept as it came, once, read back before the answer, and refused where it must be."""

import base64
import gzip
import hashlib
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import select, text

from pullbook.db.evidence import ColumnBlock, Pull, RawFile
from tests.api.pull_files import UNCLEAR, Steady, filed, send_pull

DATA = Steady().csv()
SHA256 = hashlib.sha256(DATA).hexdigest()


def _rows(app: Any, table: Any) -> list[Any]:
    with app.state.database.reading() as session:
        return list(session.execute(select(table.__table__)).all())


def test_it_answers_with_id_hash_and_state(tuner: Any, house: Any, now: Any) -> None:
    answer = send_pull(tuner, house, DATA)
    assert answer.status_code == 201, answer.text
    kept = answer.json()
    assert (kept["sha256"], kept["state"], kept["reason"]) == (SHA256, "readable", None)
    assert kept["size_bytes"] == len(DATA)
    assert kept["received_at"] == now.value.isoformat()
    assert kept["operator_name"] == "Tadeo Brandvik"
    assert kept.pop("receipt")["sha256"] == SHA256
    assert tuner.get(f"/api/v1/pulls/{kept['id']}").json() == kept


def test_it_gives_back_the_very_bytes(tuner: Any, house: Any) -> None:
    kept = filed(tuner, house, DATA, file_name='C:\\logs\\"läuft" 1.csv')
    answer = tuner.get(f"/api/v1/pulls/{kept['id']}/raw")
    assert answer.content == DATA
    assert answer.headers["etag"] == f'"{SHA256}"'
    assert kept["file_name"] == '"läuft" 1.csv'
    assert answer.headers["content-disposition"].startswith('attachment; filename="_l_uft_ 1.csv"')


def test_the_same_file_again_is_the_same_answer(tuner: Any, house: Any, app: Any) -> None:
    first, again = send_pull(tuner, house, DATA), send_pull(tuner, house, DATA, file_name="other name.csv")
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json() == first.json()
    assert len(_rows(app, Pull)) == 1


def test_the_same_file_sent_by_several_at_once_is_one_pull(client_for: Any, house: Any, app: Any) -> None:
    clients = [client_for("tuner") for _ in range(4)]
    with ThreadPoolExecutor(4) as people:
        answers = list(people.map(lambda client: send_pull(client, house, DATA), clients))
    assert sorted(answer.status_code for answer in answers) == [200, 200, 200, 201]
    assert len({answer.text for answer in answers}) == 1
    assert len(_rows(app, Pull)) == len(_rows(app, RawFile)) == 1


def test_the_same_file_on_another_ticket_is_kept_once_and_said(tuner: Any, house: Any, app: Any) -> None:
    first = filed(tuner, house, DATA)
    asked = {"customer_id": house.customer_id, "vehicle_id": house.vehicle_id, "asked": "again"}
    other = tuner.post("/api/v1/tickets", json=asked).json()
    setup = tuner.post(f"/api/v1/tickets/{other['id']}/setups", json={"name": "Baseline"}).json()
    second = filed(tuner, house, DATA, ticket_id=other["id"], setup_id=setup["id"])
    assert second["id"] != first["id"]
    assert second["same_file_on_tickets"] == [1]
    assert len(_rows(app, RawFile)) == 1
    assert len(_rows(app, Pull)) == 2


def test_two_files_at_once_on_two_tickets_share_one_raw_row(client_for: Any, tuner: Any, house: Any, app: Any) -> None:
    asked = {"customer_id": house.customer_id, "vehicle_id": house.vehicle_id, "asked": "again"}
    other = tuner.post("/api/v1/tickets", json=asked).json()
    setup = tuner.post(f"/api/v1/tickets/{other['id']}/setups", json={"name": "Baseline"}).json()
    targets = [{}, {"ticket_id": other["id"], "setup_id": setup["id"]}]
    clients = [client_for("tuner") for _ in targets]
    with ThreadPoolExecutor(2) as people:
        answers = list(
            people.map(lambda both: send_pull(both[0], house, DATA, **both[1]), zip(clients, targets, strict=True))
        )
    assert [answer.status_code for answer in answers] == [201, 201]
    assert len(_rows(app, RawFile)) == len(_rows(app, ColumnBlock)) == 1


@pytest.mark.parametrize("field", ["SHA-256", "Content-Digest"])
def test_a_digest_that_fits_is_taken_and_another_refused(tuner: Any, house: Any, app: Any, field: str) -> None:
    def told(data: bytes) -> dict[str, str]:
        digest = hashlib.sha256(data)
        if field == "SHA-256":
            return {field: digest.hexdigest()}
        return {field: f"sha-256=:{base64.b64encode(digest.digest()).decode()}:"}

    refused = send_pull(tuner, house, DATA, told(DATA + b"x"))
    assert refused.status_code == 422
    assert "altered" in refused.json()["detail"]
    assert _rows(app, RawFile) == []
    assert send_pull(tuner, house, DATA, told(DATA)).status_code == 201


@pytest.mark.parametrize(("field", "value"), [("SHA-256", "abc"), ("Content-Digest", "sha-256=nonsense")])
def test_a_digest_that_is_none_is_refused(tuner: Any, house: Any, field: str, value: str) -> None:
    answer = send_pull(tuner, house, DATA, {field: value})
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["field"] == field


def test_a_file_that_breaks_off_inside_a_quote_is_kept_with_the_place(tuner: Any, house: Any, app: Any) -> None:
    broken = b'Time [s],Roller speed [rad/s]\n0.0,10.0\n0.1,"11.0\n0.2,12.0\n'
    kept = send_pull(tuner, house, broken).json()
    assert kept["state"] == "unreadable", kept
    assert "line" in kept["reason"].lower()
    assert tuner.get(f"/api/v1/pulls/{kept['id']}/raw").content == broken
    assert _rows(app, ColumnBlock) == []


def test_a_file_whose_headings_say_nothing_waits_for_a_channel_map(tuner: Any, house: Any) -> None:
    kept = send_pull(tuner, house, UNCLEAR.csv()).json()
    assert kept["state"] == "unreadable"
    assert kept["reason"].startswith("needs a channel map")
    assert kept["channel_map_id"] is None


REFUSED = {
    "zip": (b"PK\x03\x04" + b"\x00" * 5000, {}, 415),
    "gzip": (gzip.compress(DATA), {}, 415),
    "picture": (b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 30, {}, 415),
    "commas": (b"," * 200_000, {}, 415),
    "empty": (b"", {}, 422),
    "packed on the way": (gzip.compress(DATA), {"Content-Encoding": "gzip"}, 415),
    "a form": (b"--x\r\n\r\n--x--", {"Content-Type": "multipart/form-data; boundary=x"}, 415),
}


@pytest.mark.parametrize("kind", ["application/x-www-form-urlencoded", "application/json", "text/csv", ""])
def test_the_bytes_say_what_a_file_is_whatever_the_client_calls_it(tuner: Any, house: Any, kind: str) -> None:
    kept = filed(tuner, house, DATA, headers={"Content-Type": kind})
    assert (kept["sha256"], kept["state"]) == (SHA256, "readable")


@pytest.mark.parametrize("kind", REFUSED)
def test_what_is_no_run_file_is_refused_and_leaves_nothing(tuner: Any, house: Any, app: Any, kind: str) -> None:
    data, headers, status = REFUSED[kind]
    answer = send_pull(tuner, house, data, headers)
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    assert _rows(app, RawFile) == []


def test_it_judges_the_first_bytes_before_it_takes_the_rest(tuner: Any, house: Any) -> None:
    taken = []

    def endless() -> Any:
        yield b"PK\x03\x04" + b"\x00" * 8192
        for _ in range(400):
            taken.append(1)
            yield b"\x00" * 65536

    assert send_pull(tuner, house, endless()).status_code == 415  # type: ignore[arg-type]


@pytest.mark.parametrize("seconds", [121, 3600])
def test_a_clock_that_runs_ahead_is_named(tuner: Any, house: Any, now: Any, seconds: int) -> None:
    ahead = (now.value + timedelta(seconds=seconds)).isoformat()
    answer = send_pull(tuner, house, DATA, taken_at=ahead)
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["field"] == "taken_at"
    assert "ahead of the shop's clock" in answer.json()["detail"]


def test_a_clock_two_minutes_ahead_is_let_be(tuner: Any, house: Any, now: Any) -> None:
    assert send_pull(tuner, house, DATA, taken_at=(now.value + timedelta(seconds=120)).isoformat()).status_code == 201


@pytest.mark.parametrize(
    ("changes", "status", "field"),
    [
        ({"ticket_id": "0123456789abc"}, 404, None),
        ({"setup_id": "0123456789abc"}, 422, "setup_id"),
        ({"cell_id": "0123456789abc"}, 422, "cell_id"),
        ({"channel_map_id": "0123456789abc"}, 422, "channel_map_id"),
        ({"taken_at": "2026-03-10T08:00:00"}, 422, "taken_at"),
        ({"taken_at": "2000-01-01T00:03:00+00:00"}, 422, "taken_at"),
        ({"kind": "burnout"}, 422, "kind"),
        ({"file_name": None}, 422, "file_name"),
    ],
)
def test_it_names_what_is_wrong_beside_the_file(
    tuner: Any, house: Any, app: Any, changes: dict[str, Any], status: int, field: str | None
) -> None:
    answer = send_pull(tuner, house, DATA, **changes)
    assert answer.status_code == status, answer.text
    if field is not None:
        assert answer.json()["problems"][0]["field"] == field
    assert _rows(app, RawFile) == []


def test_the_desk_files_no_pulls(desk: Any, house: Any) -> None:
    assert send_pull(desk, house, DATA).status_code == 403


def test_bytes_that_rot_on_the_disk_are_never_acknowledged(tuner: Any, house: Any, app: Any) -> None:
    """A raw file damaged behind the service's back is found by the reading back, and the 201 is withheld."""
    filed(tuner, house, DATA)
    asked = {"customer_id": house.customer_id, "vehicle_id": house.vehicle_id, "asked": "again"}
    other = tuner.post("/api/v1/tickets", json=asked).json()
    setup = tuner.post(f"/api/v1/tickets/{other['id']}/setups", json={"name": "Baseline"}).json()
    with app.state.database.writing() as session:
        if app.state.database.is_sqlite:
            for name in session.scalars(text("SELECT name FROM sqlite_master WHERE type='trigger'")).all():
                session.execute(text(f"DROP TRIGGER {name}"))
        else:
            session.execute(text("ALTER TABLE raw_file DISABLE TRIGGER USER"))
        damaged = bytearray(_rows(app, RawFile)[0].zstd)
        damaged[len(damaged) // 2] ^= 0xFF
        session.execute(text("UPDATE raw_file SET zstd = :bytes"), {"bytes": bytes(damaged)})
    answer = send_pull(tuner, house, DATA, ticket_id=other["id"], setup_id=setup["id"])
    assert answer.status_code == 503
    assert "reads back as" in answer.json()["detail"]
