"""The customer's page: small, whole without script, private, honest about what it shows, and gone when it is over."""

import base64
import hashlib
import html
import re
from typing import Any

import pytest

from pullbook.pages.results_style import CSS, PARTS, packed, results_css
from pullbook.pages.results_voice import LANGUAGES, catalogue
from pullbook.pages.words import FLAG_WORDS
from tests.furnishing import CALIBRATION, WEATHER
from tests.pages.conftest import Filed

LARGEST_BYTES = 60_000


def _page(anonymous: Any, filed: Filed) -> Any:
    answer = anonymous.get(filed.link_path)
    assert answer.status_code == 200, answer.text[:400]
    return answer


def test_it_draws_before_and_after_in_one_answer_that_is_small(anonymous: Any, filed_pulls: Filed) -> None:
    answer = _page(anonymous, filed_pulls)
    assert len(answer.content) < LARGEST_BYTES
    assert 'class="line mean setup-a"' in answer.text
    assert 'class="line mean setup-b"' in answer.text
    assert "plotly" not in answer.text


def test_it_and_its_styles_and_scripts_together_stay_under_the_limit(anonymous: Any, filed_pulls: Filed) -> None:
    answer = _page(anonymous, filed_pulls)
    total = len(answer.content)
    for address in re.findall(r'(?:href|src)="(/r/static/[^"]+)"', answer.text):
        total += len(anonymous.get(address).content)
    assert total < LARGEST_BYTES


def test_no_search_engine_no_cache_and_no_other_site_learns_of_it(anonymous: Any, filed_pulls: Filed) -> None:
    headers = _page(anonymous, filed_pulls).headers
    assert "noindex" in headers["x-robots-tag"]
    assert headers["cache-control"] == "no-store"
    assert headers["referrer-policy"] == "no-referrer"


def test_it_says_what_was_asked_done_and_under_which_standard(anonymous: Any, filed_pulls: Filed) -> None:
    page = _page(anonymous, filed_pulls).text
    for words in (
        "Does the new intake do anything?",
        "New intake fitted",
        "SAE J1349 (2004)",
        "power at the wheels",
        "not crankshaft",
    ):
        assert words in page, words
    assert re.search(r"factor \d\.\d{4}", page)


def test_its_peak_is_the_comparisons_peak(anonymous: Any, tuner: Any, filed_pulls: Filed) -> None:
    asked = {"pull_id": filed_pulls.pull_ids, "standard": "sae_j1349"}
    setups = tuner.get("/api/v1/comparisons", params=asked).json()["setups"]
    page = _page(anonymous, filed_pulls).text
    for setup in setups:
        peak_kw = max(value for value in setup["mean"]["power_w"] if value is not None) / 1000
        assert f"{peak_kw:.1f}\u00a0kW" in page


def test_it_names_nobody_of_the_staff_and_none_of_the_customers_ways_to_be_reached(
    anonymous: Any, filed_pulls: Filed
) -> None:
    page = _page(anonymous, filed_pulls).text
    for private in ("Tadeo", "Wren", "+43 1 555", "ilse@", "run 40.csv"):
        assert private not in page, private


def test_a_pull_set_aside_is_told_with_its_reason(anonymous: Any, tuner: Any, filed_pulls: Filed) -> None:
    tuner.post(f"/api/v1/pulls/{filed_pulls.pull_ids[1]}/set-aside", json={"reason": "the driver lifted early"})
    page = _page(anonymous, filed_pulls).text
    assert "the driver lifted early" in page
    assert "1 set aside" in page


HEAVIER = {**CALIBRATION, "valid_from": "2026-02-01T08:00:00+01:00", "inertia_kg_m2": 4.6, "reason": "measured again"}


def _rows(page: str) -> list[list[str]]:
    """The cells of every row of was and is."""
    tables = re.findall(r'<table class="moved">.*?</table>', page, flags=re.DOTALL)
    rows = [row for table in tables for row in re.findall(r"<tr><th scope=\"row\">(.*?)</tr>", table)]
    return [html.unescape(re.sub(r"<[^>]+>", "|", row)).replace("||", "|").split("|") for row in rows]


def test_a_change_since_publishing_stands_first_with_its_day_and_reason_once(
    anonymous: Any, owner: Any, house: Any, now: Any, filed_pulls: Filed
) -> None:
    assert "Amended since it was published" not in _page(anonymous, filed_pulls).text
    now.advance(minutes=90)
    assert owner.post(f"/api/v1/cells/{house.cell_id}/calibrations", json=HEAVIER).status_code == 201
    page = _page(anonymous, filed_pulls).text
    assert page.index("Amended since it was published") < page.index("What you asked")
    assert page.count("This page was published on 10 March 2026.") == 1
    said = "On 10 March 2026, 11:30 the shop entered another calibration of the cell"
    assert page.count(said) == 1
    assert "Its reason: “measured again”." in page
    rows = [[cell for cell in row if cell] for row in _rows(page)]
    assert len([row for row in rows if "pull of" not in row[0]]) == 4, "peak power and peak torque of two setups"
    assert len([row for row in rows if "pull of" in row[0]]) == 8, "and of four pulls"
    for what, was, is_now in rows:
        assert re.fullmatch(r"[AB], .*: peak (power|torque)", what), what
        assert was != is_now
        for figure in (was, is_now):
            assert re.fullmatch(r"[\d.\u202f]+\u00a0(kW|N·m)", figure), figure


def test_what_stands_as_the_new_figure_is_the_pages_own_headline(
    anonymous: Any, owner: Any, house: Any, filed_pulls: Filed
) -> None:
    before = _page(anonymous, filed_pulls).text
    owner.post(f"/api/v1/cells/{house.cell_id}/calibrations", json=HEAVIER)
    page = _page(anonymous, filed_pulls).text
    headline = [re.search(r'class="headline">.*?</table>', one, flags=re.DOTALL).group(0) for one in (before, page)]
    for row in _rows(page)[:4]:
        _, was, is_now = [cell for cell in row if cell]
        assert was in headline[0]
        assert is_now in headline[1]


def test_a_pull_set_aside_after_publishing_is_an_amendment_with_its_reason(
    anonymous: Any, tuner: Any, filed_pulls: Filed
) -> None:
    tuner.post(f"/api/v1/pulls/{filed_pulls.pull_ids[1]}/set-aside", json={"reason": "the driver lifted early"})
    page = _page(anonymous, filed_pulls).text
    assert "the shop set a pull aside. Its reason: “the driver lifted early”." in page
    assert any(row[-2:] == ["counts", "set aside"] or "set aside" in row for row in _rows(page))
    tuner.delete(f"/api/v1/pulls/{filed_pulls.pull_ids[1]}/set-aside")
    assert "Amended since it was published" not in _page(anonymous, filed_pulls).text


def test_an_amendment_that_moves_no_figure_is_told_as_one_behind_them(
    anonymous: Any, desk: Any, house: Any, filed_pulls: Filed
) -> None:
    again = {**WEATHER, "cell_id": house.cell_id, "supersedes_id": house.weather_id, "source": "read once more"}
    assert desk.post("/api/v1/weather", json=again).status_code == 201
    page = _page(anonymous, filed_pulls).text
    assert "Read anew since it was published" in page
    assert "Read from: “read once more”." in page
    assert "Amended since" not in page


def test_before_and_after_stand_in_one_sentence_with_unit_uncertainty_and_standard(
    anonymous: Any, filed_pulls: Filed
) -> None:
    page = _page(anonymous, filed_pulls).text
    said = html.unescape(re.search(r'<p class="lead">(.*?)</p>', page).group(1))
    power = r"[\d.]+\u00a0kW ± [\d.]+\u00a0kW"
    assert re.fullmatch(
        rf"Before \(A, [^)]+\) the car gave {power} at most, after \(B, [^)]+\) {power}: [\d.]+\u00a0kW and "
        r"[\d.]+\u00a0N·m more, at the wheels, corrected to the reference air of SAE J1349 \(2004\)\.",
        said,
    ), said


def test_how_sure_the_difference_is_stands_in_words_with_its_interval(
    anonymous: Any, tuner: Any, filed_pulls: Filed
) -> None:
    page = html.unescape(_page(anonymous, filed_pulls).text).replace("\u00a0", " ").replace("\u202f", " ")
    said = re.search(
        r"On average over \d \d{3} to \d \d{3} rev/min the car gave ([\d.]+) kW \(([\d.]+) %\) more with B than with "
        r"A; with 95 % confidence it is from ([\d.]+) to ([\d.]+) kW\.",
        page,
    )
    assert said is not None
    asked = {"pull_id": filed_pulls.pull_ids, "standard": "sae_j1349"}
    (one,) = tuner.get("/api/v1/comparisons", params=asked).json()["verdicts"]
    assert one["verdict"] == "gain"
    told = [one["difference_w"] / 1000.0, one["difference_pct"], *(end / 1000.0 for end in one["interval_w"])]
    for printed, value in zip(said.groups(), told, strict=True):
        assert float(printed) == pytest.approx(value, abs=0.51 * 10.0 ** -len(printed.partition(".")[2]))


def test_conditions_that_differ_are_said_before_the_difference_is_called_sure(
    anonymous: Any, tuner: Any, house: Any, filed_pulls: Filed
) -> None:
    assert "Not everything was the same" not in _page(anonymous, filed_pulls).text
    tuner.patch(f"/api/v1/setups/{house.second_setup_id}", json={"version": 1, "gear": "5"})
    asked = {"pull_ids": filed_pulls.pull_ids, "standard": "sae_j1349"}
    made = tuner.post(f"/api/v1/tickets/{house.ticket_id}/results-links", json=asked).json()
    page = anonymous.get(made["url"].partition("example.test")[2]).text
    assert page.index("Not everything was the same for all of them") < page.index("On average over")
    assert "Not everything was the same" not in _page(anonymous, filed_pulls).text  # as it was published


def test_a_single_pull_of_a_setup_claims_nothing_to_the_customer(
    anonymous: Any, tuner: Any, filed_pulls: Filed
) -> None:
    tuner.post(f"/api/v1/pulls/{filed_pulls.pull_ids[0]}/set-aside", json={"reason": "the driver lifted early"})
    page = _page(anonymous, filed_pulls).text
    assert "There is a single pull of A or of B, so how much of the difference is chance cannot be told." in page
    assert "On average over" not in page


def test_its_styles_are_in_the_page_and_the_policy_names_them_and_nothing_else(
    anonymous: Any, filed_pulls: Filed
) -> None:
    for answer in (_page(anonymous, filed_pulls), anonymous.get("/r/never")):
        (style,) = re.findall(r"<style>(.*?)</style>", answer.text, flags=re.DOTALL)
        digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
        policy = answer.headers["content-security-policy"]
        assert f"style-src 'sha256-{digest}';" in policy
        assert policy.startswith("default-src 'none'")
        assert "unsafe" not in policy
        assert 'rel="stylesheet"' not in answer.text


def test_packing_styles_keeps_every_rule() -> None:
    kept = results_css()
    for name, _ in PARTS:
        rules = re.sub(r"/\*.*?\*/", "", (CSS / name).read_text(encoding="utf-8"), flags=re.DOTALL)
        for text in re.findall(r'"[^"]*"', rules):
            assert text in kept, "what stands in quotes is kept as it is"
        for body in re.findall(r"\{([^{}]*)\}", rules):
            for one in filter(None, (" ".join(part.split()) for part in body.split(";"))):
                assert packed(one) in kept, f"{name}: {one}"
    assert "<" not in kept
    assert kept.count("{") == kept.count("}")


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_flag_has_words_for_a_customer(language: str) -> None:
    told = {key.removeprefix("flag."): text for key, text in catalogue(language).items() if key.startswith("flag.")}
    assert set(FLAG_WORDS) - set(told) == set()
    for text in told.values():
        assert "_" not in text
        assert text.endswith(".")


def test_a_link_that_never_was_says_ask_the_shop_whatever_it_looks_like(anonymous: Any, house: Any) -> None:
    pages = set()
    for token in ("x", "A" * 43, "..%2f..", "0000000000000"):
        answer = anonymous.get(f"/r/{token}")
        assert answer.status_code == 404
        assert "noindex" in answer.headers["x-robots-tag"]
        pages.add(answer.text)
    assert len(pages) == 1
    assert "Ask the shop" in pages.pop()


def test_an_ended_link_says_ask_the_shop_and_shows_nothing(anonymous: Any, desk: Any, filed_pulls: Filed) -> None:
    assert desk.delete(f"/api/v1/results-links/{filed_pulls.link_id}").status_code == 200
    answer = anonymous.get(filed_pulls.link_path)
    assert answer.status_code == 404
    assert "Ask the shop" in answer.text
    assert "<svg" not in answer.text
    assert "Corvane" not in answer.text


def test_a_link_ends_by_itself_on_its_day(anonymous: Any, now: Any, filed_pulls: Filed) -> None:
    now.advance(days=29)
    assert anonymous.get(filed_pulls.link_path).status_code == 200
    now.advance(days=2)
    assert anonymous.get(filed_pulls.link_path).status_code == 404
