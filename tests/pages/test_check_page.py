"""The page anybody may ask: a fingerprint in, whether and when it was published and amended out, and nothing else."""

import re
from typing import Any

import pytest
import segno
import sqlalchemy as sa

from pullbook.shop.fingerprinting import LETTERS, read_fingerprint, short_form
from tests.api.pull_files import Steady, filed
from tests.furnishing import CALIBRATION

HEAD = "f0" * 32


def typed_wrong(short: str) -> list[str]:
    """Every single letter replaced by its neighbour, and every two unlike neighbours changed about."""
    bare, digits = short.replace("-", ""), "0123456789abcdefghjkmnpqrstvwxyz"
    replaced = [
        bare[:at] + digits[(digits.index(bare[at]) + step) % 32] + bare[at + 1 :]
        for at in range(LETTERS)
        for step in range(1, 32)
    ]
    turned = [
        bare[:at] + bare[at + 1] + bare[at] + bare[at + 2 :] for at in range(LETTERS - 1) if bare[at] != bare[at + 1]
    ]
    return replaced + turned


@pytest.mark.parametrize("head", [HEAD, "0" * 63 + "1", "ab12" * 16, "9c" * 32])
def test_every_single_slip_of_the_pen_is_noticed(head: str) -> None:
    assert read_fingerprint(short_form(head)) is not None
    assert [slip for slip in typed_wrong(short_form(head)) if read_fingerprint(slip) is not None] == []


def test_a_fingerprint_may_be_typed_as_people_type() -> None:
    short = short_form("1001" * 16)
    low, high = read_fingerprint(short) or ("", "")
    assert low <= "1001" * 16 <= high
    for way in (
        short.upper(),
        short.replace("-", " "),
        f"  {short.replace('-', '')} ",
        short.replace("1", "l").replace("0", "O"),
    ):
        assert read_fingerprint(way) == (low, high)
    assert read_fingerprint(HEAD.upper()) == (HEAD, HEAD)


@pytest.fixture
def published(tuner: Any, house: Any) -> Any:
    pulls = [filed(tuner, house, Steady(gain_rad_s2=gain).csv())["id"] for gain in (8.0, 8.8)]
    asked = {"pull_ids": pulls, "standard": "iso_1585"}
    answer = tuner.post(f"/api/v1/tickets/{house.ticket_id}/results-links", json=asked)
    assert answer.status_code == 201, answer.text
    return answer.json()


def fingerprint_of(client: Any, link: Any) -> str:
    """As it stands on the results page's foot."""
    page = client.get(link["url"].partition("example.test")[2])
    return re.search(r"<span class=\"mono\">([0-9a-z-]{29})</span>", page.text)[1]  # type: ignore[index]


def test_what_was_published_is_known_by_the_fingerprint_on_its_page(anonymous: Any, published: Any) -> None:
    answer = anonymous.get("/r/check", params={"f": fingerprint_of(anonymous, published)})
    assert answer.status_code == 200
    assert "Yes." in answer.text
    assert "10 March 2026" in answer.text
    assert "not amended since" in answer.text
    assert (answer.headers["cache-control"], "noindex" in answer.headers["x-robots-tag"]) == ("no-store", True)
    assert answer.headers["referrer-policy"] == "no-referrer"


def test_the_link_on_the_page_leads_to_the_same_answer(anonymous: Any, published: Any) -> None:
    page = anonymous.get(published["url"].partition("example.test")[2])
    address = re.search(r'href="http://pulls.example.test(/r/check\?f=[0-9a-f]{64})"', page.text)[1]  # type: ignore[index]
    assert "not amended since" in anonymous.get(address).text


def drawn_modules(svg: str) -> set[tuple[int, int]]:
    """Column and row of every dark square of a drawn code, the white around it taken off."""
    found, x, y = set(), 0.0, 0.0
    for step, first, second in re.findall(r"([Mmh])(-?[\d.]+)(?: (-?[\d.]+)|(?=[a-zA-Z-]|$))?", svg):
        if step == "h":
            found |= {(round(x) + at - 4, int(y) - 4) for at in range(int(first))}
            x += int(first)
        else:
            x, y = (float(first), float(second)) if step == "M" else (x + float(first), y + float(second))
    return found


def test_the_code_on_paper_leads_where_the_link_does(anonymous: Any, published: Any) -> None:
    page = anonymous.get(published["url"].partition("example.test")[2]).text
    address = re.search(r'href="(http://pulls.example.test/r/check\?f=[0-9a-f]{64})"', page)[1]  # type: ignore[index]
    drawn = re.search(r'<div class="paper-code" aria-hidden="true">.*stroke="#000" d="([^"]+)"', page)[1]  # type: ignore[index]
    rows = segno.make(address, error="m", micro=False, boost_error=False).matrix
    wanted = {(x, y) for y, row in enumerate(rows) for x, dark in enumerate(row) if dark}
    assert drawn_modules(drawn) == wanted
    assert len(page.encode()) < 60_000


def test_an_amendment_is_told_and_nothing_of_it(anonymous: Any, owner: Any, house: Any, published: Any) -> None:
    short = fingerprint_of(anonymous, published)
    later = {**CALIBRATION, "valid_from": "2026-03-01T08:00:00+01:00", "inertia_kg_m2": 4.4}
    assert owner.post(f"/api/v1/cells/{house.cell_id}/calibrations", json=later).status_code == 201
    answer = anonymous.get("/r/check", params={"f": short}).text
    assert "amended since" in answer
    assert "not amended since" not in answer
    for said in ("kW", "N·m", "Quillon", house.ticket_id, published["id"]):
        assert said not in answer


def test_the_pulls_are_read_once_for_however_many_ask_until_something_is_written(
    app: Any, anonymous: Any, tuner: Any, published: Any
) -> None:
    asked_of: list[str] = []

    def heard(_connection: Any, _cursor: Any, statement: str, *_: Any) -> None:
        asked_of.append(statement)

    def blocks_read(short: str) -> int:
        asked_of.clear()
        assert "not amended since" in anonymous.get("/r/check", params={"f": short}).text
        return sum("column_block" in one for one in asked_of)

    short = fingerprint_of(anonymous, published)
    sa.event.listen(app.state.database.reader, "before_cursor_execute", heard)
    assert [blocks_read(short) > 0 for _ in range(4)] == [True, False, False, False]
    car = tuner.get(f"/api/v1/tickets/{published['ticket_id']}").json()
    changed = {"notes": "Nothing that a page shows", "version": car["version"]}
    assert tuner.patch(f"/api/v1/tickets/{published['ticket_id']}", json=changed).status_code == 200
    assert [blocks_read(short) > 0 for _ in range(2)] == [True, False]


def test_other_entries_and_nobodys_are_answered_alike(anonymous: Any, tuner: Any, house: Any, published: Any) -> None:
    receipt = filed(tuner, house, Steady(start_rad_s=44.0).csv())["receipt"]
    answers = [anonymous.get("/r/check", params={"f": head}) for head in (receipt["head"], HEAD)]
    told = [answer.text.replace(receipt["head"], HEAD) for answer in answers]
    assert told[0] == told[1]
    assert "Nothing was published here" in told[0]


def test_a_slip_is_told_before_anything_is_looked_up(anonymous: Any) -> None:
    assert "no whole fingerprint" in anonymous.get("/r/check", params={"f": "abcd-efgh"}).text


def test_asking_without_end_is_slowed_down(anonymous: Any, house: Any) -> None:
    answers = [anonymous.get("/r/check", params={"f": f"{each:064x}"}) for each in range(40)]
    assert [answer.status_code for answer in answers] == [200] * 30 + [429] * 10
    assert "You have asked many times" in answers[-1].text
    assert int(answers[-1].headers["retry-after"]) > 0


def test_nothing_of_it_lies_outside_what_a_proxy_lets_through(anonymous: Any, house: Any, published: Any) -> None:
    pages = [anonymous.get("/r/check"), anonymous.get(published["url"].partition("example.test")[2])]
    led_to = [one for page in pages for one in re.findall(r' (?:href|src|action)="([^"]*)"', page.text)]
    assert "/r/check" in led_to
    own = [one.replace("http://pulls.example.test", "") for one in led_to]
    assert [one for one in own if not one.startswith(("/r/", "?", "#"))] == []


def test_what_was_typed_is_shown_as_text(anonymous: Any, house: Any) -> None:
    answer = anonymous.get("/r/check", params={"f": "<script>alert(1)</script>"})
    assert "<script>alert" not in answer.text
