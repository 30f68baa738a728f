"""An engine that holds its own boost: every page with its corrected power has the observed one beside it, and why."""

import html
import re
from typing import Any

import pytest

from tests.pages.conftest import Filed

WHY = "makes up for thin air by itself"


def _words(page: str) -> str:
    words = html.unescape(re.sub(r"<[^>]+>", " ", page))
    return re.sub(r"\s+", " ", words.replace("\u00a0", " ").replace("\u202f", ""))


@pytest.fixture
def holds_boost(desk: Any, house: Any, filed_pulls: Filed) -> Filed:
    """The pulls of a car whose compressor holds its boost by itself."""
    _tell(desk, house, "mechanical")
    return filed_pulls


def _tell(desk: Any, house: Any, aspiration: str) -> None:
    vehicle = desk.get(f"/api/v1/vehicles/{house.vehicle_id}").json()
    told = {"version": vehicle["version"], "aspiration": aspiration, "holds_own_boost": True}
    assert desk.patch(f"/api/v1/vehicles/{house.vehicle_id}", json=told).status_code == 200


def _peaks(tuner: Any, filed: Filed) -> list[tuple[str, str]]:
    """Each setup's observed peak power and its engine speed as shown, from the same pulls read as observed."""
    asked = {"pull_id": filed.pull_ids, "standard": "observed"}
    body = tuner.get("/api/v1/comparisons", params=asked).json()
    found = []
    for setup in body["setups"]:
        power = [value or 0.0 for value in setup["mean"]["power_w"]]
        at = power.index(max(power))
        found.append((f"{power[at] / 1000:.1f} kW", f"{body['engine_speed_rpm'][at]:.0f}"))
    return found


def _rows(page: str, table: str) -> list[str]:
    body = page.split(table, 1)[1].split("<tbody>", 1)[1].split("</tbody>", 1)[0]
    return [_words(row) for row in body.split("</tr>") if "<tr" in row]


def test_the_comparison_shows_observed_power_beside_corrected_and_says_why(tuner: Any, holds_boost: Filed) -> None:
    page = tuner.get(f"/compare?{holds_boost.query}&standard=sae_j1349").text
    rows, peaks = _rows(page, '<table class="headline">'), _peaks(tuner, holds_boost)
    assert len(rows) == len(peaks) == 2
    for row, (power, speed) in zip(rows, peaks, strict=True):
        assert f" {power} at {speed} rev/min " in row
    caption = _words(page.split('<table class="headline">', 1)[1].split("</caption>", 1)[0])
    assert WHY in caption


def test_a_single_pull_shows_the_observed_peak_of_its_own_page(tuner: Any, holds_boost: Filed) -> None:
    pull_id = holds_boost.pull_ids[2]
    read = tuner.get(f"/api/v1/pulls/{pull_id}/curve", params={"standard": "observed"}).json()
    peak = read["headline"]["peak_power_w"]
    (row,) = _rows(tuner.get(f"/compare?pull_id={pull_id}").text, '<table class="headline">')
    assert f" {peak['value'] / 1000:.1f} kW at {peak['at_engine_speed_rpm']:.0f} rev/min " in row
    listed = _words(tuner.get(f"/tickets/{holds_boost.ticket_id}").text)
    assert f"observed {peak['value'] / 1000:.1f} kW" in listed


def test_the_customer_reads_the_observed_figures_and_one_sentence_why(
    anonymous: Any, tuner: Any, holds_boost: Filed
) -> None:
    page = anonymous.get(holds_boost.link_path).text
    words = _words(page)
    assert words.count(WHY) == 1
    said = re.search(r"As observed, before the factor, peak power was ([^.]+\.[^.]+\.[^.]+)\.", words).group(1)
    rows = _rows(page, "<caption>SAE J1349 (2004), at the wheels.")
    for row, (power, speed) in zip(rows, _peaks(tuner, holds_boost), strict=True):
        assert f"{power} at {speed} rev/min (" in said
        assert f"observed {power} at {speed} " in row


def test_nothing_observed_stands_beside_a_figure_that_is_corrected_once(
    anonymous: Any, tuner: Any, desk: Any, house: Any, holds_boost: Filed
) -> None:
    under_observed = tuner.get(f"/compare?{holds_boost.query}&standard=observed").text
    assert "Observed peak power" not in under_observed
    _tell(desk, house, "natural")
    assert "Observed peak power" not in tuner.get(f"/compare?{holds_boost.query}").text
    customers = _words(anonymous.get(holds_boost.link_path).text)
    assert "As observed" not in customers
    assert WHY not in customers
