"""A pull may come as a measurement file; what only a car answered is kept, and said to belong beside one."""

from typing import Any

import pytest

from tests.api.beside_files import Answered
from tests.api.pull_files import Steady, filed, send_pull
from tests.runfile.mdf_files import two_groups


@pytest.mark.parametrize("compression", [0, 2])
def test_a_measurement_file_is_a_pull_like_any_other(tuner: Any, house: Any, tmp_path: Any, compression: int) -> None:
    data = two_groups(tmp_path / "a.mf4", compression=compression)
    kept = filed(tuner, house, data, file_name="a.mf4")
    curve = tuner.get(f"/api/v1/pulls/{kept['id']}/curve").json()
    steady = Steady()
    text = filed(tuner, house, steady.csv())
    beside = tuner.get(f"/api/v1/pulls/{text['id']}/curve").json()
    shared = set(curve["engine_speed_rpm"]) & set(beside["engine_speed_rpm"])
    assert len(shared) > 40
    powers = [dict(zip(one["engine_speed_rpm"], one["power_w"], strict=True)) for one in (curve, beside)]
    assert [powers[0][speed] for speed in shared] == pytest.approx([powers[1][speed] for speed in shared], rel=2e-3)
    assert curve["provenance"]["reader"] == "mdf-1"
    assert not any(flag["code"] == "roller_speed_mended" for flag in curve["flags"])
    assert {value for value in curve["lambda_measured"] if value is not None} == {0.9}
    assert tuner.get(f"/api/v1/pulls/{kept['id']}/raw").content == data


def test_a_damaged_measurement_file_is_kept_with_its_reason(tuner: Any, house: Any, tmp_path: Any) -> None:
    data = two_groups(tmp_path / "a.mf4")[:5000]
    kept = send_pull(tuner, house, data, file_name="a.mf4").json()
    assert (kept["state"], kept["size_bytes"]) == ("unreadable", 5000)
    assert "damaged or breaks off" in kept["reason"]


def test_another_version_is_refused(tuner: Any, house: Any) -> None:
    answer = send_pull(tuner, house, b"MDF     3.30    " + bytes(2000), file_name="old.mdf")
    assert answer.status_code == 415
    assert "ASAM MDF 4 is read" in answer.json()["detail"]


def test_a_log_of_answers_is_kept_and_said_to_belong_beside_a_pull(tuner: Any, house: Any) -> None:
    kept = send_pull(tuner, house, Answered().can(), file_name="drive.log").json()
    assert kept["state"] == "unreadable"
    assert "join this one to it" in kept["reason"]
