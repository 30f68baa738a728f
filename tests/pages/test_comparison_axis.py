"""The comparison's page and file where engine speed is not known of every pull."""

import re
from typing import Any

import pytest

from tests.api.pull_files import Steady, filed, forget_ratio, without_engine_speed


@pytest.fixture
def engine_name() -> str:
    """What is said does not depend on the database's engine."""
    return "sqlite"


@pytest.fixture
def asked(tuner: Any, house: Any) -> Any:
    """Files pulls of the baseline, by whether they have an engine speed; gives the comparison's query."""

    def make(*with_engine_speed: bool) -> str:
        forget_ratio(tuner, house)
        ids = []
        for number, engine in enumerate(with_engine_speed, start=1):
            data = Steady(gain_rad_s2=8.0 + number / 10.0).csv()
            sent = data if engine else without_engine_speed(data)
            ids.append(filed(tuner, house, sent, file_name=f"run {number}.csv")["id"])
        return "&".join(f"pull_id={pull_id}" for pull_id in ids)

    return make


def _lines(client: Any, query: str) -> list[str]:
    return client.get(f"/compare.csv?{query}").content.decode("utf-8-sig").split("\r\n")


def _heading(lines: list[str]) -> str:
    return next(line for line in lines if line.startswith('"'))


def test_the_csv_of_pulls_over_roller_speed_says_so(tuner: Any, asked: Any) -> None:
    lines = _lines(tuner, asked(False, False))
    assert _heading(lines).startswith('"roller speed [rev/min]",')
    assert "# no engine speed is known: speed and torque are the rollers' own" in lines


def test_the_csv_of_both_kinds_has_columns_of_engine_speed_alone_and_names_the_rest(tuner: Any, asked: Any) -> None:
    lines = _lines(tuner, asked(True, False, True))
    heading = _heading(lines)
    assert heading.startswith('"engine speed [rev/min]",')
    assert re.findall(r"power (A\d) ", heading) == ["A1", "A3"]
    assert any(line.startswith("# A not shown:") and "run 2.csv" in line for line in lines)
    assert any(line.startswith("# Not drawn") and "run 2.csv" in line for line in lines)


def test_the_page_says_beneath_the_chart_which_pulls_are_not_drawn_and_why(tuner: Any, asked: Any) -> None:
    page = tuner.get(f"/compare?{asked(True, False, True)}").text
    said = re.search(r"Not drawn, because only roller speed is known[^<]*", page)
    assert said is not None
    assert "run 2.csv" in said.group()
    assert page.index("</svg>") < said.start()
    assert "Roller speed, rev/min" not in page


def test_pages_of_pulls_over_roller_speed_head_chart_and_table_with_it(tuner: Any, asked: Any) -> None:
    query = asked(False, False)
    one = query.split("&")[0].removeprefix("pull_id=")
    for path in (f"/compare?{query}", f"/pulls/{one}"):
        page = tuner.get(path).text
        assert ">Roller speed, rev/min</text>" in page, path
        assert ">Roller speed, rev/min</th>" in page, path
        assert "Engine speed, rev/min" not in page, path
        assert "Not drawn" not in page, path
