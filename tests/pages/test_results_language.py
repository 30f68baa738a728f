"""Every string of the customer's pages is in the catalogue, in each language whole, and nothing else is said."""

import html
import json
import re
import string
from pathlib import Path
from typing import Any

import pytest

from pullbook import pages
from pullbook.measure.correction import STANDARDS
from pullbook.pages.render import WEB
from pullbook.pages.results_voice import FIRST, LANGUAGES, STRINGS, UNIT_SETS, Voice, catalogue, language_of
from pullbook.pages.words import FUEL_WORDS
from pullbook.shown_units import ShownUnits
from tests.pages.conftest import Filed

TEMPLATES = sorted((WEB / "templates" / "results").glob("*.html"))
PAGES = Path(pages.__file__).parent
MODULES = sorted(PAGES.glob("results*.py"))
OTHERS = [language for language in LANGUAGES if language != FIRST]
VOICE = Voice("de", ShownUnits(), "Europe/Vienna")


def _places(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


@pytest.mark.parametrize("language", OTHERS)
def test_another_language_has_the_same_strings_with_the_same_places(language: str) -> None:
    first, other = catalogue(FIRST), catalogue(language)
    assert set(first) == set(other)
    for key, text in first.items():
        assert _places(text) == _places(other[key]), key
        assert other[key].strip() == other[key] or text.strip() != text, key


def test_no_key_stands_twice_in_a_file() -> None:
    for language in LANGUAGES:
        pairs = json.loads((STRINGS / f"results.{language}.json").read_text(encoding="utf-8"), object_pairs_hook=list)
        assert len({key for key, _ in pairs}) == len(pairs)


def test_every_sentence_differs_between_the_languages() -> None:
    english, german = catalogue("en"), catalogue("de")
    words = {key: re.sub(r"\{[a-z_]+\}", "", text).split() for key, text in english.items()}
    same = {key for key, text in english.items() if text == german[key] and len(words[key]) > 2}
    assert {key for key in same if not key.startswith("reference.")} == set(), "numbers and units alone may be alike"


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.name)
def test_a_template_says_nothing_of_its_own(path: Path) -> None:
    text = re.sub(r"\{#.*?#\}|\{%.*?%\}|\{\{.*?\}\}", " ", path.read_text(encoding="utf-8"), flags=re.DOTALL)
    said = re.sub(r"<[^>]*>", " ", text)
    assert re.findall(r"[^\W\d_]{2,}", said) == [], "words outside the catalogue"
    for attribute in re.findall(r"""(?:alt|title|aria-label|placeholder|content)="([^"]*)\"""", text):
        assert not re.search(r"[a-z] [a-z]", attribute), attribute


def test_every_string_asked_for_is_there_and_every_string_is_asked_for() -> None:
    sources = [path.read_text(encoding="utf-8") for path in (*TEMPLATES, *MODULES)]
    known, used = set(catalogue(FIRST)), set()
    for text in sources:
        for key in re.findall(r"""say\(\s*"([a-z_.]+)\"""", text):
            assert key in known, key
        used |= {key for key in known if f'"{key}"' in text}
        # keys that are put together: all that begin like the literal part
        for begun in re.findall(r"""f"([a-z_]+\.[a-z_.]*)\{""", text):
            used |= {key for key in known if key.startswith(begun)}
        for ended in re.findall(r"""~ "(\.[a-z]+)\"""", text):
            used |= {key for key in known if key.endswith(ended)}
    used |= {key for key in known if key.endswith("_observed") and key.removesuffix("_observed") in used}
    assert known - used - {"language"} == set()


def test_every_standard_and_every_fuel_has_its_words() -> None:
    known = catalogue(FIRST)
    for standard in STANDARDS.values():
        told = known[f"reference.{standard.identifier}"].replace("\u00a0", " ")
        assert told == standard.reference.replace("\u00a0", " ")
    assert {f"fuel.{name}" for name in FUEL_WORDS} <= set(known)


def test_numbers_and_days_are_written_as_the_language_writes_them(now: Any) -> None:
    assert VOICE.number(12345.67, 1) == "12\u202f345,7"
    assert VOICE.number(-0.04, 1) == "0,0"
    assert VOICE.power(123_400.0) == "123,4\u00a0kW"
    assert VOICE.day(now.value) == "10. März 2026"
    assert VOICE.moment(now.value) == "10. März 2026, 10:00\u00a0Uhr"
    english = Voice("en", ShownUnits(), "Europe/Vienna")
    assert english.power(123_400.0) == "123.4\u00a0kW"
    assert english.moment(now.value) == "10 March 2026, 10:00"
    assert VOICE.listed(["A", "B", "C"]) == "A, B und C"


@pytest.mark.parametrize(
    ("asked", "published", "accepted", "told"),
    [
        ("de", "en", "en", "de"),
        ("", "de", "en", "de"),
        ("xx", "", "de-AT,de;q=0.9,en;q=0.5", "de"),
        ("", "", "fr, en;q=0.2, de;q=0.7", "de"),
        ("", "", "fr", "en"),
        ("", "", "", "en"),
        ("", "", "*;q=zzz, de;q=..", "de"),
    ],
)
def test_the_switch_rules_then_the_shop_then_the_browser(asked: str, published: str, accepted: str, told: str) -> None:
    assert language_of(asked, published, accepted) == told


def test_the_page_is_told_in_german_from_head_to_foot(anonymous: Any, tuner: Any, filed_pulls: Filed) -> None:
    tuner.post(f"/api/v1/pulls/{filed_pulls.pull_ids[1]}/set-aside", json={"reason": "the driver lifted early"})
    page = anonymous.get(f"{filed_pulls.link_path}?lang=de").text
    assert '<html lang="de"' in page
    body = html.unescape(re.sub(r"<script.*?</script>|<style.*?</style>", " ", page, flags=re.DOTALL))
    for words in ("Seit der Veröffentlichung berichtigt", "Radleistung", "Motordrehzahl, 1/min", "Prüfstand"):
        assert words in body, words
    assert re.search(r"\d,\d\u00a0kW ± \d,\d\u00a0kW", body)
    assert "10. März 2026" in body
    # whatever a person did not type is German: no English sentence of the catalogue is left
    own = ("{shop}", "{words}")
    for key, text in catalogue("en").items():
        plain = re.split(r"\{[a-z_]+\}", text)
        longest = max(plain, key=len)
        if len(longest.split()) >= 4 and longest not in catalogue("de")[key] and not any(one in text for one in own):
            assert longest not in body, key


@pytest.mark.parametrize("units", UNIT_SETS)
def test_units_are_switched_everywhere_at_once(anonymous: Any, filed_pulls: Filed, units: str) -> None:
    page = html.unescape(anonymous.get(f"{filed_pulls.link_path}?units={units}").text)
    chosen = UNIT_SETS[units]
    main = page[page.index("<main") : page.index('<nav class="switches no-print" aria-label="Units"')]
    others = {one.power for one in UNIT_SETS.values()} - {chosen.power}
    assert f"\u00a0{chosen.power}" in main
    assert f"Power at the wheels, {chosen.power}" in main
    for other in others:
        assert f"\u00a0{other}" not in main, other


def test_a_page_that_shows_nothing_speaks_the_browsers_language(anonymous: Any) -> None:
    german = anonymous.get("/r/never", headers={"Accept-Language": "de-AT, en;q=0.3"})
    assert german.status_code == 404
    assert "Hier gibt es nichts zu sehen" in german.text
    assert '<html lang="de"' in german.text
    assert "Nothing to show here" in anonymous.get("/r/never").text
