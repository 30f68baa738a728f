"""Joining another logger's file to a pull: kept under its own hash, on the pull's clock, adding what it lacks."""

import hashlib
from typing import Any

import numpy as np
import pytest
from sqlalchemy import select

from pullbook.db.evidence import RawFile
from pullbook.db.joined import JoinedFile
from tests.api.beside_files import NOTCHED, Answered, without_mixture
from tests.api.pull_files import UNCLEAR, filed
from tests.runfile.mdf_files import two_groups

LOG = Answered()
DATA = LOG.can()


def send_joined(client: Any, pull_id: str, data: bytes = DATA, name: str = "drive 4.log", **more: Any) -> Any:
    address = f"/api/v1/pulls/{pull_id}/joined-files"
    return client.post(address, params={"file_name": name, **more}, content=data)


def joined(client: Any, pull_id: str, data: bytes = DATA, **more: Any) -> dict[str, Any]:
    answer = send_joined(client, pull_id, data, **more)
    assert answer.status_code == 201, answer.text
    return dict(answer.json())


@pytest.fixture
def pull(tuner: Any, house: Any) -> dict[str, Any]:
    return filed(tuner, house, without_mixture())


def test_it_is_kept_as_it_came_under_its_own_hash(tuner: Any, pull: Any, app: Any) -> None:
    kept = joined(tuner, pull["id"], name="C:\\logs\\drive 4.log")
    assert kept["sha256"] == hashlib.sha256(DATA).hexdigest() != pull["sha256"]
    assert kept["found"]["senders"] == "7E8"
    assert (kept["state"], kept["file_name"], kept["size_bytes"]) == ("readable", "drive 4.log", len(DATA))
    answer = tuner.get(f"/api/v1/joined-files/{kept['id']}/raw")
    assert answer.content == DATA
    assert answer.headers["etag"] == f'"{kept["sha256"]}"'
    with app.state.database.reading() as session:
        assert len(session.scalars(select(RawFile.sha256)).all()) == 2
    assert tuner.get(f"/api/v1/joined-files/{kept['id']}").json() == kept
    assert tuner.get(f"/api/v1/pulls/{pull['id']}/joined-files").json() == {"items": [kept]}


def test_its_offset_is_found_by_engine_speed(tuner: Any, pull: Any) -> None:
    kept = joined(tuner, pull["id"])
    assert kept["offset_s"] == pytest.approx(-LOG.before_s, abs=0.03)
    assert kept["fit"]["offset_s"] == kept["offset_s"]
    assert kept["fit"]["residual_rpm"] < 20
    assert not kept["offset_by_hand"]
    assert kept["channels"] == ["coolant_temperature_c", "manifold_pressure_kpa", "lambda_measured"]


def test_the_curve_shows_what_the_pulls_own_file_lacks_and_says_whose_it_is(tuner: Any, pull: Any) -> None:
    address = f"/api/v1/pulls/{pull['id']}/curve"
    before = tuner.get(address).json()
    kept = joined(tuner, pull["id"])
    after = tuner.get(address).json()
    assert "lambda_measured" not in before
    mixture = [value for value in after["lambda_measured"] if value is not None]  # it is late, so the end has none
    assert len(mixture) > 0.8 * len(after["power_w"])
    assert mixture == pytest.approx([LOG.lambda_value] * len(mixture), abs=1e-3)
    assert after["manifold_pressure_kpa"] == pytest.approx([LOG.manifold_kpa] * len(after["power_w"]))
    (told,) = after["provenance"]["joined_files"]
    assert (told["sha256"], told["offset_s"]) == (kept["sha256"], kept["offset_s"])
    assert told["channels"] == kept["channels"]


def test_power_never_comes_from_a_joined_file(tuner: Any, pull: Any) -> None:
    address = f"/api/v1/pulls/{pull['id']}/curve"
    before = tuner.get(address).json()
    joined(tuner, pull["id"])
    after = tuner.get(address).json()
    for name in ("power_w", "torque_nm", "engine_speed_rpm", "spread_w", "headline", "sweep_s", "factor"):
        assert after[name] == before[name]


def test_what_the_pulls_own_file_has_wins(tuner: Any, house: Any) -> None:
    whole = filed(tuner, house, NOTCHED.csv())
    kept = joined(tuner, whole["id"])
    assert "lambda_measured" not in kept["channels"]
    curve = tuner.get(f"/api/v1/pulls/{whole['id']}/curve").json()
    mixture = {value for value in curve["lambda_measured"] if value is not None}
    assert mixture == {NOTCHED.lambda_value}


def test_the_digest_and_the_etag_change_with_it(tuner: Any, pull: Any) -> None:
    address = f"/api/v1/pulls/{pull['id']}/curve"

    def seen() -> tuple[str, str]:
        answer = tuner.get(address)
        return answer.headers["etag"], answer.json()["provenance"]["inputs_digest"]

    alone = seen()
    kept = joined(tuner, pull["id"])
    beside = seen()
    moved = {"version": kept["version"], "offset_s": -4.0}
    assert tuner.patch(f"/api/v1/joined-files/{kept['id']}", json=moved).status_code == 200
    by_hand = seen()
    assert len({alone[0], beside[0], by_hand[0]}) == len({alone[1], beside[1], by_hand[1]}) == 3


def test_the_same_file_again_is_the_same_answer(tuner: Any, pull: Any, app: Any) -> None:
    first, again = send_joined(tuner, pull["id"]), send_joined(tuner, pull["id"], name="other.log")
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    with app.state.database.reading() as session:
        assert len(session.scalars(select(JoinedFile.id)).all()) == 1


def test_one_log_may_be_joined_to_several_pulls(tuner: Any, house: Any, pull: Any) -> None:
    other = filed(tuner, house, NOTCHED.csv())
    assert joined(tuner, pull["id"])["id"] != joined(tuner, other["id"])["id"]


def test_the_pulls_own_file_is_not_joined_to_itself(tuner: Any, pull: Any) -> None:
    answer = send_joined(tuner, pull["id"], without_mixture())
    assert answer.status_code == 422
    assert "own file" in answer.json()["detail"]


def test_a_measurement_file_is_joined_too(tuner: Any, house: Any, tmp_path: Any) -> None:
    pull = filed(tuner, house, without_mixture())
    kept = joined(tuner, pull["id"], two_groups(tmp_path / "a.mf4"), name="a.mf4")
    assert kept["reader"] == "mdf-1"
    assert kept["channels"] == ["lambda_measured"]
    assert kept["offset_s"] == pytest.approx(0.0, abs=0.03)


def test_a_file_without_engine_speed_waits_for_an_offset_by_hand(tuner: Any, pull: Any) -> None:
    rows = "\n".join(f"{place / 10},{80 + place / 10}" for place in range(200))
    kept = joined(tuner, pull["id"], f"Time [s],Oil temperature [°C]\n{rows}\n".encode(), name="oil.csv")
    assert (kept["state"], kept["offset_s"], kept["fit"], kept["channels"]) == ("readable", None, None, [])
    assert "set the offset by hand" in kept["failure"]
    moved = {"version": kept["version"], "offset_s": -2.0}
    placed = tuner.patch(f"/api/v1/joined-files/{kept['id']}", json=moved).json()
    assert (placed["offset_s"], placed["offset_by_hand"], placed["channels"]) == (-2.0, True, ["oil_temperature_c"])
    curve = tuner.get(f"/api/v1/pulls/{pull['id']}/curve").json()
    time = np.interp(curve["engine_speed_rpm"], *_speeds(curve))
    assert np.allclose(curve["oil_temperature_c"], 80.0 + time + 2.0, atol=0.02)


def _speeds(curve: Any) -> tuple[Any, Any]:
    """Engine speed of the steady pull over its time."""
    time = np.linspace(0.0, NOTCHED.seconds, 200)
    return (NOTCHED.start_rad_s + NOTCHED.gain_rad_s2 * time) * 5.2 * 30.0 / np.pi, time


def test_a_file_that_cannot_be_read_is_kept_and_says_why(tuner: Any, pull: Any) -> None:
    kept = joined(tuner, pull["id"], UNCLEAR.csv(), name="unclear.csv")
    assert kept["state"] == "unreadable"
    assert kept["reason"].startswith("needs a channel map")
    assert tuner.get(f"/api/v1/joined-files/{kept['id']}/raw").content == UNCLEAR.csv()


def test_what_is_no_log_at_all_is_refused_and_leaves_nothing(tuner: Any, pull: Any, app: Any) -> None:
    assert send_joined(tuner, pull["id"], b"PK\x03\x04" + bytes(5000)).status_code == 415
    with app.state.database.reading() as session:
        assert session.scalars(select(JoinedFile.id)).all() == []


def test_nobodys_pull_and_the_desk_are_refused(tuner: Any, desk: Any, pull: Any) -> None:
    assert send_joined(tuner, "0123456789abc").status_code == 404
    assert send_joined(desk, pull["id"]).status_code == 403


def test_reading_pulls_without_joined_files_takes_no_further_statement(
    tuner: Any, pull: Any, statements: list[str]
) -> None:
    address = f"/api/v1/pulls/{pull['id']}/curve"
    tuner.get(address)
    alone = len(statements)
    joined(tuner, pull["id"])
    statements.clear()
    tuner.get(address)
    assert len(statements) == alone + 1
