"""What a pull's figures may be off by, input by input, and what the car's own sensors say of the air."""

from datetime import timedelta
from math import sqrt
from typing import Any

import pytest

from tests.api.pull_files import Steady, filed
from tests.furnishing import CALIBRATION, START, WEATHER


@pytest.fixture
def curve(tuner: Any, house: Any) -> dict[str, Any]:
    pull = filed(tuner, house, Steady().csv())
    return tuner.get(f"/api/v1/pulls/{pull['id']}/curve").json()


@pytest.mark.parametrize(
    ("rows", "total", "figure"),
    [("budget", "budget_total", "peak_power_w"), ("mean_budget", "mean_budget_total", "mean_power_w")],
)
def test_the_rows_come_to_the_figures_own_uncertainty(
    curve: dict[str, Any], rows: str, total: str, figure: str
) -> None:
    said, summed = curve[rows], curve[total]
    assert sqrt(sum(row["contribution_w"] ** 2 for row in said)) == pytest.approx(summed["combined_w"], abs=0.05)
    assert sum(row["share_pct"] for row in said) == pytest.approx(100.0, abs=0.05)
    assert summed["value_w"] == curve["headline"][figure]["value"]
    assert summed["expanded_w"] == pytest.approx(curve["headline"][figure]["expanded_uncertainty"], abs=0.05)
    assert summed["expanded_w"] == pytest.approx(summed["coverage_factor"] * summed["combined_w"], abs=0.05)
    assert [row["share_pct"] for row in said] == sorted((row["share_pct"] for row in said), reverse=True)


def test_each_contribution_is_sensitivity_times_standard_uncertainty(curve: dict[str, Any]) -> None:
    for row in curve["budget"]:
        expected = abs(row["sensitivity_w"]) * row["standard_uncertainty"]
        assert row["contribution_w"] == pytest.approx(expected, rel=2e-4, abs=0.02), row["input"]


def test_the_inputs_stand_there_with_their_own_values(curve: dict[str, Any]) -> None:
    rows = {row["input"]: row for row in curve["budget"]}
    assert {"inertia", "radius", "speed", "losses", "method", "air temperature", "air pressure", "humidity"} <= set(
        rows
    )
    assert rows["inertia"]["estimate"] == CALIBRATION["inertia_kg_m2"]
    assert rows["inertia"]["standard_uncertainty"] == CALIBRATION["inertia_u_kg_m2"]
    assert rows["air pressure"]["estimate"] == WEATHER["station_pressure_kpa"]
    assert rows["humidity"]["estimate"] == pytest.approx(WEATHER["relative_humidity_pct"], abs=1e-3)
    assert rows["radius"]["contribution_w"] == 0.0  # speed came in rad/s: power does not ask how large the roller is
    assert rows["air pressure"]["sensitivity_w"] < 0.0 < rows["air temperature"]["sensitivity_w"]


def test_what_cancels_in_a_difference_is_marked(curve: dict[str, Any]) -> None:
    shared = {row["input"]: row["shared_by"] for row in curve["budget"]}
    assert shared["inertia"] == shared["losses"] == shared["method"] == "calibration"
    assert shared["air pressure"] == shared["humidity"] == "weather_reading"
    shares = sum(row["share_pct"] for row in curve["budget"] if row["shared_by"] != "none")
    assert curve["budget_total"]["shared_pct"] == pytest.approx(shares, abs=0.01)


def test_an_observed_curve_owes_nothing_to_the_air(tuner: Any, house: Any) -> None:
    pull = filed(tuner, house, Steady().csv())
    curve = tuner.get(f"/api/v1/pulls/{pull['id']}/curve", params={"standard": "observed"}).json()
    assert not any(row["shared_by"] == "weather_reading" for row in curve["budget"])


def test_a_pull_page_shows_each_share_in_words(tuner: Any, house: Any) -> None:
    pull = filed(tuner, house, Steady().csv())
    page = tuner.get(f"/pulls/{pull['id']}").text
    for words in (
        "How sure the figures are",
        "Inertia J of the rollers",
        "Station pressure",
        "cancels in a difference",
    ):
        assert words in page, words


def _with_intake(warmth_c: float) -> bytes:
    lines = Steady().csv().decode().splitlines()
    told = [f"{lines[0]},Intake temp [°C]", *(f"{line},{warmth_c}" for line in lines[1:])]
    return "\n".join(told).encode()


@pytest.mark.parametrize(("below_c", "told"), [(15.0, True), (3.0, False), (-20.0, False)])
def test_intake_air_colder_than_the_cell_questions_the_reading(
    tuner: Any, house: Any, below_c: float, told: bool
) -> None:
    pull = filed(tuner, house, _with_intake(WEATHER["air_temperature_c"] - below_c))
    curve = tuner.get(f"/api/v1/pulls/{pull['id']}/curve").json()
    assert "intake_temperature_c" in curve
    texts = [flag["text"] for flag in curve["flags"] if flag["code"] == "weather_against_car"]
    assert bool(texts) == told
    assert all("thermometer" in text for text in texts)


def test_a_later_reading_that_fits_ends_the_question(tuner: Any, house: Any) -> None:
    pull = filed(tuner, house, _with_intake(WEATHER["air_temperature_c"] - 15.0))
    fits = {**WEATHER, "air_temperature_c": WEATHER["air_temperature_c"] - 12.0, "cell_id": house.cell_id}
    fits["read_at"] = (START - timedelta(minutes=10)).isoformat()
    assert tuner.post("/api/v1/weather", json=fits).status_code == 201
    curve = tuner.get(f"/api/v1/pulls/{pull['id']}/curve").json()
    assert "weather_against_car" not in [flag["code"] for flag in curve["flags"]]
