"""Taking numbers away: the same bits as were calculated, with what they were made from, readable by anybody."""

import csv
import hashlib
from io import StringIO
from typing import Any
from xml.etree import ElementTree

import duckdb
import numpy as np
import pytest

from pullbook.runfile.delimited import read_delimited
from pullbook.shop.reading import ReadSettings, read_pulls
from tests.api.pull_files import UNCLEAR, Steady, filed, send_pull

DATA = Steady().csv()
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def pull(tuner: Any, house: Any) -> dict[str, Any]:
    return filed(tuner, house, DATA)


def _get(client: Any, path: str, **asked: Any) -> Any:
    answer = client.get(f"/api/v1{path}", params=asked)
    assert answer.status_code == 200, answer.text
    return answer


def _told(text: str) -> dict[str, str]:
    """The comment lines, word by word."""
    pairs = (line[2:].split(": ", 1) for line in text.split("\r\n") if line.startswith("# "))
    return {word: said for word, said in pairs}


def _column(tmp_path: Any, data: bytes, name: str) -> list[float | None]:
    path = tmp_path / "taken.parquet"
    path.write_bytes(data)
    return [row[0] for row in duckdb.sql(f"select \"{name}\" from '{path}'").fetchall()]


def test_a_curve_in_csv_is_the_curve_to_the_last_bit(tuner: Any, app: Any, pull: dict[str, Any]) -> None:
    answer = _get(tuner, f"/pulls/{pull['id']}/curve.csv", standard="sae_j1349", step_rpm=25)
    with app.state.database.reading() as session:
        curve = read_pulls(session, [pull["id"]], ReadSettings("sae_j1349", step_rpm=25.0))[0].curve
    read = read_delimited(answer.content)
    found = dict(zip([header.text for header in read.headers], read.values, strict=True))
    np.testing.assert_array_equal(found["engine speed [rev/min]"], curve.engine_speed_rpm)
    np.testing.assert_array_equal(found["power at the wheels [W]"], curve.power_w)
    np.testing.assert_array_equal(found["torque [N·m]"], curve.torque_nm)
    np.testing.assert_array_equal(found["λ measured [λ]"], curve.channels["lambda_measured"])


def test_the_head_says_everything_that_decides_the_numbers(tuner: Any, house: Any, pull: dict[str, Any]) -> None:
    answer = _get(tuner, f"/pulls/{pull['id']}/curve.csv")
    told, curve = _told(answer.text), _get(tuner, f"/pulls/{pull['id']}/curve").json()
    assert told["sha256"] == hashlib.sha256(DATA).hexdigest()
    assert (told["pull"], told["ticket"]) == (pull["id"], "1")
    assert told["standard"] == "ISO 1585 UN R85 (iso_1585)"
    assert float(told["factor"]) == curve["factor"]
    assert told["method"] == curve["method_version"]
    assert told["inputs digest"] == curve["provenance"]["inputs_digest"]
    assert told["window"].endswith("s chosen from the data")
    assert _told(_get(tuner, f"/pulls/{pull['id']}/curve.csv", window_s=0.4).text)["window"] == "0.4 s as asked"
    assert told["power"] == "at the wheels"
    assert "(k = 2)" in told["peak power"]
    assert answer.headers["content-type"] == "text/csv; charset=utf-8"
    assert f'filename="ticket-1-pull-{pull["id"]}-iso_1585.csv"' in answer.headers["content-disposition"]


def test_parquet_holds_the_same_numbers_and_the_same_words(tuner: Any, pull: dict[str, Any], tmp_path: Any) -> None:
    text = _get(tuner, f"/pulls/{pull['id']}/curve.csv")
    data = _get(tuner, f"/pulls/{pull['id']}/curve.parquet")
    read = read_delimited(text.content)
    power = read.values[[header.text for header in read.headers].index("power at the wheels [W]")]
    assert _column(tmp_path, data.content, "power_w") == power.tolist()
    rows = duckdb.sql(f"select key, value from parquet_kv_metadata('{tmp_path / 'taken.parquet'}')").fetchall()
    words = {key.decode(): value.decode() for key, value in rows}
    told = _told(text.text)
    assert {word: words[word].replace(",", "") for word in ("sha256", "standard", "factor", "window", "method")} == {
        word: told[word] for word in ("sha256", "standard", "factor", "window", "method")
    }


def test_every_sample_can_be_filed_again_and_gives_the_same_curve(tuner: Any, house: Any, pull: dict[str, Any]) -> None:
    answer = _get(tuner, f"/pulls/{pull['id']}/channels.csv")
    again = filed(tuner, house, answer.content, file_name="again.csv")
    first, second = (_get(tuner, f"/pulls/{one['id']}/curve").json() for one in (pull, again))
    assert second["power_w"] == first["power_w"]
    assert second["lambda_measured"] == first["lambda_measured"]
    told = _told(answer.text)
    assert told["correction"] == "none: samples are observed"
    assert told["sha256"] == hashlib.sha256(DATA).hexdigest()


def test_samples_in_parquet_are_named_as_the_quantities_are(tuner: Any, pull: dict[str, Any], tmp_path: Any) -> None:
    data = _get(tuner, f"/pulls/{pull['id']}/channels.parquet").content
    time = np.arange(801) / 100.0
    assert _column(tmp_path, data, "time_s") == time.tolist()
    assert _column(tmp_path, data, "roller_speed_rad_s") == pytest.approx((40.0 + 8.0 * time).tolist(), abs=1e-6)


def test_a_hold_has_no_curve_to_take_away_but_its_samples(tuner: Any, house: Any) -> None:
    hold = filed(tuner, house, DATA, kind="hold")
    assert tuner.get(f"/api/v1/pulls/{hold['id']}/curve.csv").status_code == 409
    assert _told(_get(tuner, f"/pulls/{hold['id']}/channels.csv").text)["kind"] == "hold"


def test_a_file_that_cannot_be_read_yet_says_so(tuner: Any, house: Any) -> None:
    pull = send_pull(tuner, house, UNCLEAR.csv()).json()
    for part in ("curve.csv", "curve.parquet", "curve.svg", "channels.csv", "channels.parquet"):
        answer = tuner.get(f"/api/v1/pulls/{pull['id']}/{part}")
        assert answer.status_code == 409, part
        assert "cannot be read yet" in answer.json()["detail"], part


@pytest.fixture
def pulls(tuner: Any, house: Any) -> list[str]:
    sent = ((8.0, house.setup_id), (8.1, house.setup_id), (8.8, house.second_setup_id), (8.9, house.second_setup_id))
    return [filed(tuner, house, Steady(gain_rad_s2=gain).csv(), setup_id=setup)["id"] for gain, setup in sent]


def test_a_comparison_holds_means_single_pulls_and_the_difference(tuner: Any, pulls: list[str], tmp_path: Any) -> None:
    text = _get(tuner, "/comparisons.csv", pull_id=pulls).text
    told, said = _told(text), _get(tuner, "/comparisons", pull_id=pulls).json()
    rows = list(csv.DictReader(StringIO("\n".join(line for line in text.split("\r\n") if not line.startswith("#")))))
    first = said["setups"][0]["mean"]["power_w"]
    assert [float(row["A mean power at the wheels [W]"] or "nan") for row in rows] == pytest.approx(
        [float("nan") if value is None else value for value in first], abs=0.05, nan_ok=True
    )
    assert {"A1 torque [N·m]", "B2 power at the wheels [W]", "B less A [W]"} <= set(rows[0])
    for pull_id, name in zip(pulls, ("A1", "A2", "B1", "B2"), strict=True):
        assert pull_id in told[f"pull {name}"]
        assert _get(tuner, f"/pulls/{pull_id}").json()["sha256"] in told[f"pull {name}"]
    assert told["setup B"] == "Intake mean of 2"
    assert told["method"] == said["method_version"]
    data = _get(tuner, "/comparisons.parquet", pull_id=pulls).content
    middle = len(rows) // 2
    difference = _column(tmp_path, data, "B_less_A_difference_w")[middle]
    means = [_column(tmp_path, data, f"{mark}_mean_power_w")[middle] for mark in "BA"]
    assert difference == pytest.approx(means[0] - means[1])


def test_what_people_typed_makes_no_formula_and_breaks_no_line(tuner: Any, house: Any) -> None:
    name = '=HYPERLINK("x"),+cmd;@a|b\t.csv'
    pull = filed(tuner, house, DATA, file_name=name)
    setup = tuner.get(f"/api/v1/setups/{house.setup_id}").json()
    told = {"version": setup["version"], "name": "-1,=2+5;@x"}
    assert tuner.patch(f"/api/v1/setups/{house.setup_id}", json=told).status_code == 200
    for path in (f"/pulls/{pull['id']}/curve.csv", f"/pulls/{pull['id']}/channels.csv", "/comparisons.csv"):
        text = _get(tuner, path, **({"pull_id": pull["id"]} if path.startswith("/comp") else {})).text
        for delimiter in ",;\t|":
            for row in csv.reader(StringIO(text), delimiter=delimiter):
                words = [cell for cell in row if not _is_number(cell)]
                assert not [cell for cell in words if cell.lstrip().startswith(("=", "+", "-", "@"))], (delimiter, row)


def _is_number(cell: str) -> bool:
    try:
        float(cell.partition(",")[0])
    except ValueError:
        return False
    return True


@pytest.mark.parametrize("sheet", ["light", "dark"])
def test_a_drawing_stands_alone_with_its_colours_and_its_standard(tuner: Any, pulls: list[str], sheet: str) -> None:
    paths = ((f"/pulls/{pulls[0]}/curve.svg", {}), ("/comparisons.svg", {"pull_id": pulls}))
    for path, asked in paths:
        answer = _get(tuner, path, sheet=sheet, **asked)
        assert answer.headers["content-type"] == "image/svg+xml"
        assert "sandbox" in answer.headers["content-security-policy"]
        drawn = ElementTree.fromstring(answer.text)
        style = drawn.find(f"{SVG}style").text
        assert "var(" not in style
        assert ("#fffdf7" in style, "#272c35" in style) == (sheet == "light", sheet == "dark")
        words = [text.text for text in drawn.iter(f"{SVG}text")]
        assert any("ISO 1585" in word and "method" in word for word in words if word)
        assert not [one for one in drawn.iter() if one.tag.endswith(("script", "image", "foreignObject", "a"))]
        classes = {word for one in drawn.iter() for word in (one.get("class") or "").split()}
        assert {name for name in classes if f".{name}" not in style} <= {"keep"}


def test_nothing_to_draw_is_said_and_not_drawn_blank(tuner: Any, house: Any) -> None:
    hold = filed(tuner, house, DATA, kind="hold")
    answer = tuner.get("/api/v1/comparisons.svg", params={"pull_id": hold["id"]})
    assert answer.status_code == 409
    assert "nothing to draw" in answer.json()["detail"]


@pytest.mark.parametrize("asked", [{"standard": "sae_j2000"}, {"window_s": 0}, {"step_rpm": 1}])
def test_a_reading_that_cannot_be_is_refused(tuner: Any, pull: dict[str, Any], asked: dict[str, Any]) -> None:
    answer = tuner.get(f"/api/v1/pulls/{pull['id']}/curve.parquet", params=asked)
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["field"] == next(iter(asked))
