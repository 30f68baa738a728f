"""What a results page says in words stays as it was published, whatever is edited on record since."""

from typing import Any

import pytest
import sqlalchemy as sa

from pullbook.db.chain import ChainEntry, ChainSalt
from pullbook.db.evidence import ResultsLink
from pullbook.db.tables import Ticket
from pullbook.shop.chaining import rows_of
from pullbook.shop.sealing import entry_of, head_of, words_digest
from tests.faults.test_tampering import Shop, found, shop
from tests.furnishing import OWNER, sign_in

__all__ = ["shop"]  # the fixture


def _edit(client: Any, path: str, **changes: Any) -> None:
    version = client.get(path).json()["version"]
    answer = client.patch(path, json={**changes, "version": version})
    assert answer.status_code == 200, answer.text


def _address(shop: Shop) -> str:
    url = shop.tuner.get(f"/api/v1/results-links/{shop.link_id}/address").json()["url"]
    return str(url.partition("example.test")[2])


def _edit_all(shop: Shop) -> None:
    house = shop.house
    _edit(shop.tuner, f"/api/v1/setups/{house.setup_ids[1]}", name="Quite another name", changed="Something else")
    _edit(shop.tuner, f"/api/v1/vehicles/{house.vehicle_id}", make="Othermake", model="Othermodel", plate="ZZ 1")
    _edit(shop.tuner, f"/api/v1/tickets/{house.ticket_id}", asked="Something never asked")


def test_a_later_edit_changes_no_word_of_a_page_that_is_out_there(shop: Shop, anonymous: Any) -> None:
    before = anonymous.get(_address(shop)).text
    _edit_all(shop)
    assert anonymous.get(_address(shop)).text == before
    assert found(shop.verify()) == []
    later = shop.tuner.get(f"/api/v1/results-links/{shop.publish()}/address").json()["url"]
    page = anonymous.get(later).text
    for word in ("Quite another name", "Something else", "Othermake", "ZZ 1", "Something never asked"):
        assert word in page
        assert word not in before


@pytest.mark.parametrize("part", ["asked", "car", "setups"])
def test_pinned_words_that_were_altered_are_found(shop: Shop, part: str) -> None:
    (told,) = shop.rows(sa.select(ResultsLink.told))[0]
    other = {"asked": "Another word", "car": {**told["car"], "plate": "ZZ 1"}, "setups": {}}[part]
    shop.run(sa.update(ResultsLink).values(told={**told, part: other}))
    (words,) = found(shop.verify())
    number = shop.entry("published", shop.link_id)
    said = "its words are not those that were entered (note, told)"
    assert words == f"entry {number}, published {shop.link_id}: {said}"


def test_a_link_from_before_words_were_pinned_holds_and_follows_the_records(shop: Shop, anonymous: Any) -> None:
    shop.run(sa.update(ResultsLink).values(told=None))
    number = shop.entry("published", shop.link_id)
    with shop.app.state.database.reading() as session:
        (row,) = rows_of(session, "published")
        salt = session.get_one(ChainSalt, number).salt
    digest = words_digest("published", row, salt)
    shop.run(sa.update(ChainEntry).where(ChainEntry.number == number).values(words_digest=digest))
    shop.write_anew(number, sign=True)
    assert found(shop.verify()) == []
    (entry,) = shop.rows(sa.select(ChainEntry.__table__).where(ChainEntry.number == number))
    assert entry.head == head_of(entry_of(entry._mapping))
    _edit_all(shop)
    assert found(shop.verify()) == []
    assert "Something never asked" in anonymous.get(_address(shop)).text


def test_pinned_words_go_with_the_person_they_are_about(shop: Shop, owner: Any) -> None:
    sign_in(owner, OWNER)
    name = owner.get(f"/api/v1/customers/{shop.house.customer_id}").json()["full_name"]
    with shop.app.state.database.writing() as session:
        session.execute(sa.update(Ticket).values(state="collected"))
    asked = {"full_name": name, "reason": "Asked by letter"}
    answer = owner.post(f"/api/v1/customers/{shop.house.customer_id}/erase", json=asked)
    assert answer.status_code == 200, answer.text
    assert shop.rows(sa.select(ResultsLink.told)) == [(None,)]
    assert [one for one in found(shop.verify()) if "published" in one] == []
