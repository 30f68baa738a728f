"""A comparison in words and as a file: how it was read, what stands first, and no gain that the scatter could make."""

import re
from datetime import timedelta
from typing import Any

import pytest

from tests.api.pull_files import Steady, filed
from tests.furnishing import START
from tests.pages.conftest import Filed

LOOSE = (8.0, 8.3, 7.8)


@pytest.fixture
def compared(tuner: Any, house: Any) -> Any:
    """Files pulls of these gains in baseline and second setup; gives the comparison's query."""

    def make(first: tuple[float, ...], later: tuple[float, ...]) -> str:
        ids = []
        for setup_id, gains in ((house.setup_id, first), (house.second_setup_id, later)):
            for gain in gains:
                taken = START - timedelta(minutes=40 - len(ids))
                data = Steady(gain_rad_s2=gain).csv()
                kept = filed(tuner, house, data, setup_id=setup_id, taken_at=taken.isoformat(), file_name="a, =1.csv")
                ids.append(kept["id"])
        return "&".join(f"pull_id={pull_id}" for pull_id in ids)

    return make


def _words(page: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page)).replace("\u00a0", " ").replace("\u202f", " ")


def test_no_gain_is_claimed_where_the_interval_holds_none_at_all(tuner: Any, compared: Any) -> None:
    page = _words(tuner.get(f"/compare?{compared(LOOSE, tuple(gain + 0.1 for gain in LOOSE))}").text)
    said = re.search(r"Not enough pulls: ([−\d.]+) kW \(([−\d.]+) %\), 95 % interval −[\d.]+ to [\d.]+ kW", page)
    assert said is not None
    assert float(said.group(1)) > 0.0
    assert "nothing can be claimed" in page
    assert "Gain:" not in page


def test_a_gain_stands_with_its_interval_band_and_standard(tuner: Any, compared: Any) -> None:
    page = _words(tuner.get(f"/compare?{compared((8.0, 8.01), (8.5, 8.51))}").text)
    said = re.search(r"Gain: ([\d.]+) kW \(([\d.]+) %\), 95 % interval ([\d.]+) to ([\d.]+) kW \(([\d.]+) to", page)
    assert said is not None
    difference, _, low, high, _ = map(float, said.groups())
    assert low < difference < high
    assert re.search(r"Mean power less that of A, over [\d ]+ to [\d ]+ rev/min, ISO 1585", page)
    assert re.search(r"Scatter of single pulls \(standard deviation\): A [\d.]+ kW \([\d.]+ %\), B", page)
    assert re.search(r"So many pulls show a difference of [\d.]+ % nine times in ten", page)


def test_a_part_that_does_nothing_is_said_to_in_words(tuner: Any, compared: Any) -> None:
    page = _words(tuner.get(f"/compare?{compared((8.0, 8.01, 7.99), (8.002, 8.012, 7.992))}").text)
    assert re.search(r"No difference larger than 1 %: [−\d.]+ kW", page)
    assert "Neither a gain nor a loss can be claimed" in page


def test_a_single_pull_claims_nothing(tuner: Any, compared: Any) -> None:
    page = _words(tuner.get(f"/compare?{compared((8.0,), (8.5, 8.51))}").text)
    assert "Not enough pulls:" in page
    assert "how much of this is chance cannot be told" in page


def test_two_of_each_in_turn_are_said_to_be_too_few_to_take_a_drift_out(tuner: Any, house: Any) -> None:
    ids = []
    for place, gain in enumerate((8.0, 8.5, 8.01, 8.51)):
        setup_id = (house.setup_id, house.second_setup_id)[place % 2]
        taken = START - timedelta(minutes=40 - place)
        kept = filed(tuner, house, Steady(gain_rad_s2=gain).csv(), setup_id=setup_id, taken_at=taken.isoformat())
        ids.append(f"pull_id={kept['id']}")
    page = _words(tuner.get(f"/compare?{'&'.join(ids)}").text)
    assert "2 pulls against 2" in page
    assert "not taken in turn" not in page
    assert "No drift is taken out" in page
    assert "three of each" in page


def test_conditions_that_differ_stand_before_the_verdict_and_make_it_cautious(
    tuner: Any, compared: Any, house: Any
) -> None:
    query = compared((8.0, 8.01), (8.5, 8.51))
    plain = _words(tuner.get(f"/compare?{query}").text)
    assert plain.index("The same throughout") < plain.index("Did the change help?")
    assert "Not everything was the same" not in plain
    tuner.patch(f"/api/v1/setups/{house.second_setup_id}", json={"version": 1, "gear": "5"})
    page = _words(tuner.get(f"/compare?{query}").text)
    assert page.index("Not the same throughout") < page.index("The same throughout") < page.index("Gain:")
    assert "Not everything was the same: what stands above may explain this before any part does." in page


def test_a_pull_set_aside_stays_in_sight_with_its_reason(tuner: Any, compared: Any) -> None:
    query = compared((8.0, 8.01, 8.02), (8.5, 8.51))
    pull_id = query.split("&")[1].removeprefix("pull_id=")
    tuner.post(f"/api/v1/pulls/{pull_id}/set-aside", json={"reason": "Wheel spin from 4 400"})
    page = _words(tuner.get(f"/compare?{query}").text)
    assert re.search(r"Set aside, in no mean: A \d+ Mar, [\d:]+ – Wheel spin from 4 400", page)
    assert "2 pulls against 2" in page


def test_a_band_in_the_address_is_judged_and_kept_and_one_that_will_not_do_is_said(tuner: Any, compared: Any) -> None:
    query = compared((8.0, 8.01), (8.5, 8.51))
    page = tuner.get(f"/compare?{query}&band_low_rpm=3%20000&band_high_rpm=4000,5&worth_pct=2").text
    assert "over 3 000 to 4 000 rev/min" in _words(page).replace("4 001", "4 000")
    assert re.search(r'name="band_low_rpm"[^>]* value="3 000"', page)
    assert re.search(r'href="/compare.csv\?[^"]*band_low_rpm=3', page)
    assert 'data-band-low="3000.0"' in page
    for asked, said in (
        ("band_low_rpm=5000&band_high_rpm=4000", "ends before it begins"),
        ("band_low_rpm=20", "does not lie on what all these pulls share"),
        ("worth_pct=lots", "“lots”, is no number"),
    ):
        words = _words(tuner.get(f"/compare?{query}&{asked}").text)
        assert said in words, asked
        assert "Judged as usual instead." in words
        assert "Gain:" in words


def test_the_csv_carries_the_verdict_over_the_band_asked_for(tuner: Any, compared: Any) -> None:
    query = compared((8.0, 8.01), (8.5, 8.51))
    text = tuner.get(f"/compare.csv?{query}&band_low_rpm=3000&band_high_rpm=4000").content.decode("utf-8-sig")
    (said,) = [line for line in text.split("\r\n") if line.startswith("# B less A")]
    assert "Gain: " in said
    assert "mean over 3\u202f000 to 4\u202f000\u00a0rev/min" in said


def test_one_pull_alone_has_the_peak_of_its_own_page_and_of_the_list(tuner: Any, compared: Any, house: Any) -> None:
    query = compared((8.03,), ())
    pull_id = query.removeprefix("pull_id=")
    own = tuner.get(f"/api/v1/pulls/{pull_id}/curve").json()["headline"]["peak_power_w"]["value"] / 1000.0
    for path in (f"/compare?{query}", f"/pulls/{pull_id}", f"/tickets/{house.ticket_id}"):
        assert f"{own:.1f} kW" in _words(tuner.get(path).text), path


def test_the_csv_says_standard_factor_units_window_method_and_each_pull(tuner: Any, compared: Any) -> None:
    query = compared((8.0, 8.1), (8.5,))
    text = tuner.get(f"/compare.csv?{query}&window_s=0,5").content.decode("utf-8-sig")
    comments = [line for line in text.split("\r\n") if line.startswith("#")]
    head = "\n".join(comments)
    for said in (
        "ISO 1585",
        "factor 0.99",
        "method 20",
        "local fit 0.5 s",
        "power in kW",
        "torque in N·m",
        "at the wheels",
    ):
        assert said in head, said
    assert [line.split(":")[0] for line in comments if re.match(r"# [AB]\d:", line)] == ["# A1", "# A2", "# B1"]
    assert all("," not in line for line in comments)


def test_every_cell_of_the_csv_below_its_heading_is_a_number_or_empty(tuner: Any, compared: Any) -> None:
    query = compared((8.0, 8.1), (8.5,))
    lines = tuner.get(f"/compare.csv?{query}").content.decode("utf-8-sig").split("\r\n")
    rows = [line.split(",") for line in lines if line and line[0] not in '#"']
    assert len(rows) > 50
    for row in rows:
        assert all(cell == "" or float(cell) == float(cell) for cell in row)


def test_pulls_of_another_ticket_are_offered_and_lettered_apart(tuner: Any, filed_pulls: Filed, house: Any) -> None:
    told = {"customer_id": house.customer_id, "vehicle_id": house.vehicle_id, "asked": "Again, a year later"}
    other = tuner.post("/api/v1/tickets", json=told).json()
    setup = tuner.post(f"/api/v1/tickets/{other['id']}/setups", json={"name": "Baseline again"}).json()
    kept = filed(tuner, house, Steady(seconds=9.0).csv(), ticket_id=other["id"], setup_id=setup["id"])
    offered = tuner.get(f"/compare?{filed_pulls.query}&also={other['number']}").text
    assert f'value="{kept["id"]}"' in offered
    both = tuner.get(f"/compare?{filed_pulls.query}&pull_id={kept['id']}").text
    words = _words(both)
    assert f"C Baseline again, ticket {other['number']}" in words
    assert "Not the same throughout" in words
    assert words.index("Not the same throughout") < words.index("Correction standard")
    assert "There is no ticket 99999." in tuner.get(f"/compare?{filed_pulls.query}&also=99999").text


def test_what_may_harm_the_engine_stands_before_anything_else(tuner: Any, compared: Any, house: Any) -> None:
    query = compared((8.0,), ())
    lean = Steady(
        lambda_value=1.12, gain_rad_s2=8.4, seconds=9.0,
        headings=("Time [s]", "Roller speed [rad/s]", "Engine speed [rpm]", "Lambda", "Throttle [%]"),
    )  # fmt: skip
    early = START - timedelta(hours=9)  # stale weather as well
    kept = filed(tuner, house, lean.csv(), taken_at=early.isoformat())
    flags = [flag["code"] for flag in tuner.get(f"/api/v1/pulls/{kept['id']}/curve").json()["flags"]]
    assert "weather_stale" in flags
    assert flags[0] == "lean_under_load"
    page = _words(tuner.get(f"/compare?{query}&pull_id={kept['id']}").text)
    assert page.index("Leaner than") < page.index("weather reading")
