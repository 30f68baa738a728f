"""Publishing, the list of links, and that a customer needs nothing from outside /r/."""

import re
from typing import Any
from urllib.parse import urlencode

import pytest

from tests.furnishing import DESK, sign_in
from tests.pages.conftest import Filed

SHOWN = {"standard": "sae_j1349", "note": "New intake fitted", "days": 30}
UNITS_WANTED = {"power": "hp", "torque": "lbf·ft", "pressure": "psi"}


def _preview(client: Any, filed: Filed, **changes: Any) -> Any:
    asked = {**SHOWN, **UNITS_WANTED, "pull_id": filed.pull_ids, **changes}
    return client.get(f"/tickets/{filed.ticket_id}/preview?{urlencode(asked, doseq=True)}")


def test_the_preview_is_the_page_to_the_letter_but_for_saying_so(
    tuner: Any, desk: Any, anonymous: Any, filed_pulls: Filed
) -> None:
    band = {"band_low_rpm": 3000, "band_high_rpm": 4000}
    preview = _preview(tuner, filed_pulls, **band)
    assert preview.status_code == 200, preview.text[:300]
    asked = {"pull_ids": filed_pulls.pull_ids, **SHOWN, **band, "units": UNITS_WANTED}
    made = desk.post(f"/api/v1/tickets/{filed_pulls.ticket_id}/results-links", json=asked)
    assert made.status_code == 201, made.text
    shown = anonymous.get(made.json()["url"]).text
    bar = r'<aside class="warn preview-bar">.*?</aside>\s*'
    assert len(re.findall(bar, preview.text)) == 1
    # the switches of language and units lead somewhere only once it is published
    switches = r'<nav class="switches.*?</nav>'
    assert len(re.findall(switches, shown, flags=re.DOTALL)) == 2
    told = re.sub(bar, "", preview.text).replace(" data-preview", "")
    # nor does a preview stand in the chain of entries
    entered = r'<div class="chain keep">(?:(?!</p>).)*/r/check\?f=.*?</svg></div></div>'
    assert len(re.findall(entered, shown, flags=re.DOTALL)) == 1
    assert told.split() == re.sub(f"{switches}|{entered}", "", shown, flags=re.DOTALL).split()
    assert "3\u202f000 to 4\u202f000" in shown
    assert "lbf·ft" in shown


def test_a_preview_keeps_nothing(tuner: Any, owner: Any, filed_pulls: Filed) -> None:
    before = owner.get("/api/v1/audit").json()["items"][0]["number"]
    _preview(tuner, filed_pulls)
    assert owner.get("/api/v1/audit").json()["items"][0]["number"] == before
    assert len(tuner.get("/api/v1/results-links").json()["items"]) == 1, "the one that was there"


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"standard": "made_up"}, "standard"),
        ({"pull_id": []}, "Tick the pulls"),
        ({"band_low_rpm": "fast"}, "no number"),
        ({"band_low_rpm": "100", "band_high_rpm": "200"}, "does not lie on"),
        ({"language": "xx"}, "language"),
    ],
)
def test_what_could_not_be_published_cannot_be_previewed_and_is_told_why(
    tuner: Any, filed_pulls: Filed, changes: dict[str, Any], said: str
) -> None:
    answer = _preview(tuner, filed_pulls, **changes)
    assert answer.status_code == 422
    assert said in answer.text


def test_units_of_the_link_hold_when_the_shop_changes_its_own(
    owner: Any, desk: Any, anonymous: Any, filed_pulls: Filed
) -> None:
    asked = {"pull_ids": filed_pulls.pull_ids, **SHOWN, "units": {"power": "PS"}}
    made = desk.post(f"/api/v1/tickets/{filed_pulls.ticket_id}/results-links", json=asked).json()
    assert made["units"]["power"] == "PS"
    assert made["units"]["torque"] == "N·m"
    shop = owner.get("/api/v1/shop").json()
    changed = {"version": shop["version"], "name": shop["name"], "time_zone": shop["time_zone"]}
    changed |= {"default_standard": shop["default_standard"], "power_unit": "hp", "torque_unit": "lbf·ft"}
    assert owner.put("/api/v1/shop", json=changed).status_code == 200
    page = anonymous.get(made["url"]).text
    assert "\u00a0PS" in page
    assert "\u00a0N·m" in page
    assert "\u00a0lbf·ft" not in page


def test_everything_a_customer_needs_lies_below_r(anonymous: Any, desk: Any, filed_pulls: Filed) -> None:
    asked = {"pull_ids": filed_pulls.pull_ids, **SHOWN, "pin": "839201"}
    locked = desk.post(f"/api/v1/tickets/{filed_pulls.ticket_id}/results-links", json=asked).json()["url"]
    for path in (filed_pulls.link_path, locked, "/r/never"):
        page = re.sub(r"<a [^>]*>", "", anonymous.get(path).text)  # what is loaded; a link is followed by choice
        found = re.findall(r'\b(?:href|src|action|content|srcset|poster|data)="([^"#][^"]*)"', page)
        addresses = [one.removeprefix("http://pulls.example.test") for one in found if re.match(r"https?:|/", one)]
        assert len(addresses) >= 2
        for address in addresses:
            assert address.startswith("/r/"), address
            if "/static/" in address:
                assert anonymous.get(address).status_code == 200, address
    script = anonymous.get(re.search(r'src="([^"]+opened\.js)"', anonymous.get(filed_pulls.link_path).text).group(1))
    assert "/api/" not in script.text
    assert not re.search(r'import .* from "(?!\./)', script.text)


def test_a_page_in_other_units_is_another_page_though_nothing_was_written(anonymous: Any, filed_pulls: Filed) -> None:
    usual = anonymous.get(filed_pulls.link_path).text
    other = anonymous.get(f"{filed_pulls.link_path}?units=hp").text
    assert "\u00a0hp" not in usual
    assert "\u00a0hp" in other
    assert anonymous.get(filed_pulls.link_path).text == usual


def test_the_preview_picture_is_small_whole_and_names_nobody(anonymous: Any, filed_pulls: Filed) -> None:
    page = anonymous.get(filed_pulls.link_path).text
    address = re.search(r'property="og:image" content="([^"]+)"', page).group(1)
    assert address.startswith("http://pulls.example.test/r/static/")
    picture = anonymous.get(address)
    assert picture.headers["content-type"] == "image/png"
    assert picture.content[:8] == b"\x89PNG\r\n\x1a\n"
    assert (int.from_bytes(picture.content[16:20], "big"), int.from_bytes(picture.content[20:24], "big")) == (1200, 630)
    assert len(picture.content) < 50_000
    told = re.findall(r'<meta property="og:[a-z]+" content="([^"]+)"', page)
    for private in ("Corvane", "Quarrystone", "KVM", "Ilse"):
        assert private not in " ".join(told)


def test_the_publishing_page_ticks_what_counts_and_says_which_bands_would_do(tuner: Any, filed_pulls: Filed) -> None:
    tuner.post(f"/api/v1/pulls/{filed_pulls.pull_ids[1]}/set-aside", json={"reason": "the driver lifted early"})
    page = tuner.get(f"/tickets/{filed_pulls.ticket_id}/publish").text
    ticked = re.findall(r'value="(\w{13})" checked', page)
    assert sorted(ticked) == sorted(set(filed_pulls.pull_ids) - {filed_pulls.pull_ids[1]})
    assert re.search(r"Anywhere from \d[\d\u202f]* to \d[\d\u202f]* rev/min", page)
    assert f'action="/tickets/{filed_pulls.ticket_id}/preview"' in page


def test_a_ticket_without_a_curve_says_what_to_do(tuner: Any, house: Any) -> None:
    page = tuner.get(f"/tickets/{house.ticket_id}/publish").text
    assert "nothing to publish yet" in page
    assert "File a sweep" in page


def test_links_are_listed_by_state_and_an_empty_list_says_what_to_do(desk: Any, now: Any, filed_pulls: Filed) -> None:
    assert f'/links/{filed_pulls.link_id}"' in desk.get("/links").text
    assert "No link has run out yet" in desk.get("/links?state=ended").text
    assert "ended no link" in desk.get("/links?state=revoked").text
    desk.delete(f"/api/v1/results-links/{filed_pulls.link_id}")
    assert "choose “Publish results”" in desk.get("/links").text
    assert f'/links/{filed_pulls.link_id}"' in desk.get("/links?state=revoked").text
    assert "ended this link" in desk.get(f"/links/{filed_pulls.link_id}").text


def test_a_link_that_ran_out_can_be_found_and_offers_more_days(desk: Any, now: Any, filed_pulls: Filed) -> None:
    now.advance(days=31)
    sign_in(desk, DESK)
    page = desk.get(f"/links/{filed_pulls.link_id}").text
    assert "ran out on" in page
    assert "<svg" not in page
    assert 'name="days"' in page


def test_a_links_page_shows_its_code_and_a_card_without_name_or_car(
    desk: Any, client_for: Any, filed_pulls: Filed
) -> None:
    page = desk.get(f"/links/{filed_pulls.link_id}").text
    assert f'value="http://pulls.example.test{filed_pulls.link_path}"' in page
    card = re.search(r'<section class="handout.*?</section>', page, flags=re.DOTALL).group(0)
    assert "<svg" in card
    assert "Quarrystone Motor Works" in card
    assert "9 April 2026" in card
    for private in ("Corvane", "Ilse", "KVM"):
        assert private not in card
    assert client_for("read_only").get(f"/links/{filed_pulls.link_id}").status_code == 403
    assert filed_pulls.link_path not in client_for("read_only").get("/links").text


def test_a_long_list_goes_on_where_it_ended(desk: Any, filed_pulls: Filed) -> None:
    asked = {"pull_ids": filed_pulls.pull_ids[:1], "standard": "observed"}
    for _ in range(50):
        desk.post(f"/api/v1/tickets/{filed_pulls.ticket_id}/results-links", json=asked)
    first = desk.get("/links").text
    older = re.search(r'href="(/links\?[^"]*cursor=[^"]+)"', first).group(1).replace("&amp;", "&")
    assert f'/links/{filed_pulls.link_id}"' not in first
    second = desk.get(older).text
    assert f'/links/{filed_pulls.link_id}"' in second
    assert "cursor=" not in second
