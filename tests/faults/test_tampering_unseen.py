"""Tampering where something is missing or too early rather than other: words without their salt, what was before and
after, heads signed ahead, receipts of another file. Each is found by `verify` with what it is about named.
"""

from datetime import timedelta
from typing import Any

import pytest
import sqlalchemy as sa

from pullbook.db.chain import ChainEntry, ChainKey, ChainSalt, SignedHead
from pullbook.db.evidence import AuditDetail, AuditEntry, ResultsLink
from pullbook.shop.attesting import head_text, note_of, read_key, receipt_text, sign_today
from pullbook.shop.chaining import rows_of
from pullbook.shop.sealing import row_digest
from pullbook.shop.tracing import digest_of
from tests.faults.test_tampering import Shop, found, shop
from tests.furnishing import OWNER, sign_in

__all__ = ["shop"]  # the fixture


def test_words_whose_salt_was_taken_away_before_they_were_altered(shop: Shop) -> None:
    number = shop.entry("published", shop.link_id)
    shop.run(
        sa.delete(ChainSalt).where(ChainSalt.number == number),
        sa.update(ResultsLink).where(ResultsLink.id == shop.link_id).values(note="Another word"),
    )
    (words,) = found(shop.verify())
    assert words.startswith(f"entry {number}, published {shop.link_id}: ")
    assert "note" in words


def test_words_taken_away_with_their_salt_where_nobody_was_erased(shop: Shop) -> None:
    number = shop.entry("published", shop.link_id)
    shop.run(
        sa.delete(ChainSalt).where(ChainSalt.number == number),
        sa.update(ResultsLink).where(ResultsLink.id == shop.link_id).values(note=""),
    )
    assert found(shop.verify())[0].startswith(f"entry {number}, published {shop.link_id}: ")


def test_words_put_where_there_were_none(shop: Shop) -> None:
    key = shop.rows(sa.select(ChainKey.id))[0][0]
    shop.run(sa.update(ChainKey).values(reason="The first one was lost"))
    (words,) = found(shop.verify())
    assert words.startswith(f"entry {shop.entry('key', key)}, key {key}: ")


def test_what_was_before_and_after_taken_out_of_the_trail(shop: Shop) -> None:
    number = shop.rows(sa.select(AuditEntry.number).where(AuditEntry.record == "results_link"))[0][0]
    shop.run(sa.delete(AuditDetail).where(AuditDetail.number == number))
    (words,) = found(shop.verify())
    assert words.startswith(f"audit trail {number}: ")


def _signed_head(shop: Shop, day: str, signed_at: Any) -> Any:
    """As whoever has the key can sign one, for any day."""
    signer = read_key(shop.app.state.settings.signing_key)
    assert signer is not None
    last = sa.select(ChainEntry.number, ChainEntry.head).order_by(ChainEntry.number.desc())
    number, head = shop.rows(last.limit(1))[0]
    signature = signer.sign(head_text(day, number, head, signed_at))
    told = {"day": day, "entries": number, "head": head, "signed_at": signed_at}
    return SignedHead(**told, key_id=signer.key_id, signature=signature)


@pytest.mark.parametrize(("day", "days"), [("2026-03-20", 9), ("2026-03-20", 0), ("2026-03-09", -2)])
def test_a_head_signed_for_another_day_than_it_was_made_on(shop: Shop, day: str, days: int) -> None:
    with shop.app.state.database.writing() as session:
        session.add(_signed_head(shop, day, shop.now.value + timedelta(days=days)))
    put_in, words = found(shop.verify())
    assert put_in == f"signed head {day}: it stands in no entry: it was put in past the service"
    assert words.startswith(f"entry {shop.last()}, signed head {day}: ")


def test_a_head_signed_ahead_keeps_no_later_day_from_being_signed(shop: Shop) -> None:
    signer = read_key(shop.app.state.settings.signing_key)
    with shop.app.state.database.writing() as session:
        session.add(_signed_head(shop, "2036-01-01", shop.now.value))
    for _ in range(2):
        sign_today(shop.app.state.database, signer, shop.now.value + timedelta(days=3))
    days = [row.day for row in shop.rows(sa.select(SignedHead.day).order_by(SignedHead.day))]
    assert days == ["2026-03-10", "2026-03-11", "2026-03-14", "2036-01-01"]


@pytest.mark.parametrize("with_key", [True, False])
def test_a_receipt_of_another_file_under_a_true_head(shop: Shop, with_key: bool) -> None:
    signer = read_key(shop.app.state.settings.signing_key)
    assert signer is not None
    number = shop.entry("pull", shop.pulls[0]["id"])
    at, size, head = shop.rows(
        sa.select(ChainEntry.at, ChainEntry.size_bytes, ChainEntry.head).where(ChainEntry.number == number)
    )[0]
    text = receipt_text(number, at, size, "ab" * 32, head)
    signed = (signer.key_id, signer.sign(text)) if with_key else (None, None)
    (words,) = found(shop.verify(note_of(text, *signed)))
    assert words.startswith(f"entry {number}, anchor kept.txt, entry {number}: ")
    assert "sha256" in words


def test_what_an_older_version_did_not_put_down_is_no_finding(shop: Shop) -> None:
    """`published` of a link from before verdicts were kept, its digest and its entry made of just that."""
    told = shop.rows(sa.select(ResultsLink.published).where(ResultsLink.id == shop.link_id))[0][0]
    older = {name: value for name, value in told.items() if name != "verdicts"}
    link = sa.update(ResultsLink).where(ResultsLink.id == shop.link_id)
    shop.run(link.values(published=older, digest=digest_of(older)))
    with shop.app.state.database.reading() as session:
        (row,) = rows_of(session, "published")
    number = shop.entry("published", shop.link_id)
    entry = sa.update(ChainEntry).where(ChainEntry.number == number)
    shop.run(entry.values(row_digest=row_digest("published", row)))
    shop.write_anew(number, sign=True)
    assert found(shop.verify()) == []


def test_the_trail_of_somebody_who_was_erased_is_no_finding(shop: Shop, owner: Any) -> None:
    sign_in(owner, OWNER)
    name = owner.get(f"/api/v1/customers/{shop.house.customer_id}").json()["full_name"]
    asked = {"full_name": name, "reason": "Asked by letter"}
    answer = owner.post(f"/api/v1/customers/{shop.house.customer_id}/erase", json=asked)
    assert answer.status_code == 200, answer.text
    assert shop.rows(sa.select(ResultsLink.note)) == [("",)]
    assert found(shop.verify()) == []
