"""Reading one pull's mixture: λ where its gas was burnt, how late the probe was, and what is to be looked at."""

from typing import Any

import numpy as np
import pytest

from tests.api.pull_files import RATIO, UNCLEAR, filed, send_pull

HEADINGS = ("Time [s]", "Roller speed [rad/s]", "Engine speed [rpm]", "Lambda", "Lambda target", "Throttle [%]")
LATE_S = 0.4


def _file(lean_from_rpm: float = 9000.0, late_s: float = LATE_S, without: tuple[str, ...] = ()) -> bytes:
    """Constant acceleration; λ asked for bends twice on the way, and comes late by a pure delay."""
    time = np.arange(1001) / 100.0
    roller = 40.0 + 8.0 * time
    engine = roller * RATIO * 30.0 / np.pi
    asked = _asked(engine)
    then = engine - late_s * 8.0 * RATIO * 30.0 / np.pi
    burnt = _asked(then) + np.where(then > lean_from_rpm, 0.1, 0.0)
    columns = (time, roller, engine, burnt, asked, np.full_like(time, 100.0))
    told = {name: values for name, values in zip(HEADINGS, columns, strict=True) if name not in without}
    rows = "\n".join(",".join(f"{value:.5f}" for value in row) for row in zip(*told.values(), strict=True))
    return f"{','.join(told)}\n{rows}\n".encode()


def _asked(engine_rpm: Any) -> Any:
    return np.interp(engine_rpm, [2500.0, 3000.0, 4500.0, 5300.0], [0.95, 0.88, 0.86, 0.80])


def _mixture(client: Any, pull: dict[str, Any], **asked: Any) -> dict[str, Any]:
    answer = client.get(f"/api/v1/pulls/{pull['id']}/mixture", params=asked)
    assert answer.status_code == 200, answer.text
    return answer.json()


def test_the_lag_is_found_and_taken_out(tuner: Any, house: Any) -> None:
    found = _mixture(tuner, filed(tuner, house, _file()))
    assert found["lag"]["found"] is True
    assert found["lag"]["lag_s"] == pytest.approx(LATE_S, abs=0.02)
    assert 0.0 < found["lag"]["u_s"] < 0.02
    assert found["lag"]["reason"] is None
    measured = np.array(found["lambda_measured"], float)
    commanded = np.array(found["lambda_commanded"], float)
    assert np.nanmax(np.abs(measured - commanded)) < 0.01
    assert [stretch["state"] for stretch in found["stretches"]] == ["follows"]
    assert found["flags"] == []
    assert found["missing"] is None


def test_the_curve_says_the_same_lag(tuner: Any, house: Any) -> None:
    pull = filed(tuner, house, _file())
    found, curve = _mixture(tuner, pull), tuner.get(f"/api/v1/pulls/{pull['id']}/curve").json()
    assert curve["lambda_lag_s"] == found["lag"]["lag_s"]
    assert curve["lambda_lag_u_s"] == found["lag"]["u_s"]
    assert curve["lambda_lag_basis"] == "found"
    assert curve["lambda_measured"] == found["lambda_measured"]
    compared = tuner.get("/api/v1/comparisons", params={"pull_id": pull["id"]}).json()
    assert compared["setups"][0]["pulls"][0]["summary"]["lambda_lag_s"] == found["lag"]["lag_s"]


def test_a_lean_stretch_is_told_with_its_speeds_and_warns_first_everywhere(tuner: Any, house: Any) -> None:
    pull = filed(tuner, house, _file(lean_from_rpm=4700.0))
    found = _mixture(tuner, pull)
    follows, lean = found["stretches"]
    assert (follows["state"], lean["state"]) == ("follows", "leaner")
    assert lean["from_rpm"] == pytest.approx(4700.0, abs=100.0)
    assert lean["mean_error"] == pytest.approx(0.1, abs=0.01)
    assert lean["text"] in found["stretches"][1]["text"]
    assert found["flags"][0]["code"] == "lean_under_load"
    curve = tuner.get(f"/api/v1/pulls/{pull['id']}/curve").json()
    assert curve["flags"][0] == found["flags"][0]
    compared = tuner.get("/api/v1/comparisons", params={"pull_id": pull["id"]}).json()
    assert compared["setups"][0]["pulls"][0]["flags"][0]["code"] == "lean_under_load"


def test_without_a_target_it_says_what_is_missing_and_by_which_lag_it_went(tuner: Any, house: Any) -> None:
    found = _mixture(tuner, filed(tuner, house, _file(without=("Lambda target",))))
    assert found["lambda_commanded"] is None
    assert found["lag"]["quality"] == "usual"
    assert "Log the controller's λ target" in found["lag"]["reason"]
    assert "no commanded λ" in found["missing"]
    assert found["stretches"] == []


def test_without_any_lambda_it_says_what_would_do(tuner: Any, house: Any) -> None:
    found = _mixture(tuner, filed(tuner, house, _file(without=("Lambda", "Lambda target"))))
    assert found["lag"] is None
    assert found["lambda_measured"] is None
    assert "There is no λ in this pull" in found["missing"]


def test_a_lag_given_by_hand_is_used_and_kept_apart_by_its_etag(tuner: Any, house: Any) -> None:
    pull = filed(tuner, house, _file())
    address = f"/api/v1/pulls/{pull['id']}/mixture"
    own, given = tuner.get(address), tuner.get(address, params={"lag_s": 0.2})
    assert given.json()["lag"]["lag_s"] == 0.2
    assert given.json()["lag"]["quality"] == "given"
    assert own.headers["etag"] != given.headers["etag"]
    assert tuner.get(address, headers={"If-None-Match": own.headers["etag"]}).status_code == 304
    assert tuner.get(address, params={"lag_s": 0.2}, headers={"If-None-Match": own.headers["etag"]}).status_code == 200


@pytest.mark.parametrize("lag_s", ["-0.1", "3.1", "soon", "nan"])
def test_a_lag_that_none_has_is_refused_by_its_field(tuner: Any, house: Any, lag_s: str) -> None:
    pull = filed(tuner, house, _file())
    answer = tuner.get(f"/api/v1/pulls/{pull['id']}/mixture", params={"lag_s": lag_s})
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["field"] == "lag_s"
    page = tuner.get(f"/pulls/{pull['id']}", params={"lag_s": lag_s}, headers={"Accept": "text/html"})
    assert page.status_code == 422


def test_a_pull_without_a_curve_says_why(tuner: Any, house: Any) -> None:
    pull = send_pull(tuner, house, UNCLEAR.csv()).json()
    answer = tuner.get(f"/api/v1/pulls/{pull['id']}/mixture")
    assert answer.status_code == 409
    assert "cannot be read yet" in answer.json()["detail"]


def test_a_page_shows_the_stretches_under_the_power_curve(tuner: Any, house: Any) -> None:
    pull = filed(tuner, house, _file(lean_from_rpm=4700.0))
    page = tuner.get(f"/pulls/{pull['id']}", headers={"Accept": "text/html"}).text
    section = page.split('id="mixture-heading"')[1].split("</section>")[0]
    assert "leaner than commanded" in section
    assert "follows the command" in section
    assert "s late" in section
    assert "Power at the wheels" in section
    assert ">Mixture, λ" in section
    given = tuner.get(f"/pulls/{pull['id']}", params={"lag_s": "0,2"}, headers={"Accept": "text/html"}).text
    assert "as given by hand" in given


def test_a_page_without_lambda_says_what_to_log(tuner: Any, house: Any) -> None:
    pull = filed(tuner, house, _file(without=("Lambda", "Lambda target")))
    page = tuner.get(f"/pulls/{pull['id']}", headers={"Accept": "text/html"}).text
    section = page.split('id="mixture-heading"')[1].split("</section>")[0]
    assert "wide-band probe" in section
    assert "<svg" not in section
