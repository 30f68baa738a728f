"""Tampering with what vouches: the audit trail's end, the signed heads of the days, the key and its file."""

from typing import Any

import pytest
import sqlalchemy as sa

from pullbook.cli import main
from pullbook.db.chain import ChainEntry, ChainKey, ChainSalt, SignedHead
from pullbook.db.evidence import AuditDetail, AuditEntry
from pullbook.db.tables import Counter
from pullbook.shop.attesting import attest, enter_key, head_text, make_key, read_key
from pullbook.shop.auditing import FIRST_PREVIOUS, entry_hash
from pullbook.shop.fingerprinting import short_form
from tests.api.pull_files import Steady, filed
from tests.faults.test_tampering import Shop, found, shop
from tests.furnishing import TUNER, sign_in

__all__ = ["shop"]  # the fixture


def _trail(shop: Shop) -> int:
    return int(shop.rows(sa.select(sa.func.max(AuditEntry.number)))[0][0])


def _cut_trail(shop: Shop, last: int) -> None:
    """All that the trail says after entry `last`, and the counter lowered: the trail by itself holds again."""
    shop.run(
        sa.delete(AuditDetail).where(AuditDetail.number > last),
        sa.delete(AuditEntry).where(AuditEntry.number > last),
        sa.update(Counter).where(Counter.name == "audit_entry").values(last=last),
    )


def _head(shop: Shop) -> Any:
    return shop.rows(sa.select(SignedHead.__table__).order_by(SignedHead.day.desc()).limit(1))[0]


def test_the_trails_end_cut_off_with_its_counter_lowered(shop: Shop) -> None:
    head = _head(shop)
    _cut_trail(shop, head.trail_entries - 2)
    (words,) = found(shop.verify())
    assert words.startswith(f"entry {head.entries}, signed head {head.day}: it signs {head.trail_entries} entries of ")
    assert words.endswith(f"audit entries {head.trail_entries - 1} to {head.trail_entries} are cut off")


def test_the_trail_written_anew_from_the_middle(shop: Shop) -> None:
    head, first = _head(shop), 5
    rows = [dict(one._mapping) for one in shop.rows(sa.select(AuditEntry.__table__).order_by(AuditEntry.number))]
    previous, changed = FIRST_PREVIOUS, []
    for row in rows:
        if row["number"] >= first:
            row |= {"previous_hash": previous, "action": "nothing" if row["number"] == first else row["action"]}
            row["hash"] = entry_hash(row)
            changed.append(row)
        previous = row["hash"]
    shop.run(
        sa.delete(AuditEntry).where(AuditEntry.number >= first),
        *(sa.insert(AuditEntry).values(row) for row in changed),
    )
    words = found(shop.verify())
    said = f"it signs audit entry {head.trail_entries}, and that is another: it or one before it was written anew"
    assert f"entry {head.entries}, signed head {head.day}: {said}" in words
    assert len(words) == len(shop.rows(sa.select(SignedHead.day)))


def test_the_trails_end_cut_off_after_the_last_head_is_shown_by_an_anchor_alone(shop: Shop) -> None:
    shop.now.advance(days=1)
    attest(shop.app.state.database, shop.app.state.settings.signing_key, shop.now.value)
    kept = shop.rows(sa.select(SignedHead.__table__).order_by(SignedHead.day.desc()).limit(1))[0]
    note = shop.heads_note(kept)
    last = kept.trail_entries
    shop.run(
        sa.delete(SignedHead).where(SignedHead.day == kept.day),
        sa.delete(ChainEntry).where(ChainEntry.record_id == kept.day),
        sa.update(Counter).where(Counter.name == "chain_entry").values(last=kept.entries),
    )
    _cut_trail(shop, last - 1)
    assert found(shop.verify()) == []
    (words,) = found(shop.verify(note))
    assert words.startswith(f"entry {kept.entries}, anchor kept.txt, entry {kept.entries}: it vouches for {last} ")
    assert words.endswith(f"audit entries {last} to {last} are cut off")


def test_entries_cut_off_that_a_head_signs(shop: Shop) -> None:
    head = _head(shop)
    shop.run(
        sa.delete(ChainSalt).where(ChainSalt.number >= head.entries),
        sa.delete(ChainEntry).where(ChainEntry.number >= head.entries),
    )
    said = f"it signs {head.entries} entries and the chain ends at {head.entries - 1}: the rest is cut off"
    assert f"entry {head.entries}, signed head {head.day}: {said}" in found(shop.verify())


def test_a_head_that_was_deleted(shop: Shop) -> None:
    head = _head(shop)
    shop.run(sa.delete(SignedHead).where(SignedHead.day == head.day))
    number = shop.entry("signed head", head.day)
    assert found(shop.verify()) == [f"entry {number}, signed head {head.day}: the record is gone"]


def test_every_head_that_was_deleted(shop: Shop) -> None:
    days = [one.day for one in shop.rows(sa.select(SignedHead.day).order_by(SignedHead.day))]
    shop.run(sa.delete(SignedHead))
    gone = [f"entry {shop.entry('signed head', day)}, signed head {day}: the record is gone" for day in days]
    assert found(shop.verify()) == gone


def test_heads_from_before_the_trail_was_signed_hold_and_are_taken_in_with_the_next(shop: Shop) -> None:
    """As an earlier version signed them: no trail, no entry of their own."""
    database, path = shop.app.state.database, shop.app.state.settings.signing_key
    signer = read_key(path)
    assert signer is not None
    last = shop.last()
    shop.run(
        sa.delete(SignedHead),
        sa.delete(ChainSalt).where(ChainSalt.number > 2),
        sa.delete(ChainEntry).where(ChainEntry.number > 2),
        sa.update(Counter).where(Counter.name == "chain_entry").values(last=2),
    )
    (head,) = shop.rows(sa.select(ChainEntry.head).where(ChainEntry.number == 2))[0]
    at = shop.now.value
    text = head_text("2026-03-10", 2, head, at)
    assert text.startswith("pullbook head 1\n")
    told = {"day": "2026-03-10", "entries": 2, "head": head, "signed_at": at, "key_id": signer.key_id}
    shop.run(sa.insert(SignedHead).values(**told, signature=signer.sign(text)))
    of_heads = [one for one in found(shop.verify()) if "signed head" in one]
    assert of_heads == []
    shop.now.advance(days=1)
    attest(database, path, shop.now.value)
    assert [shop.entry("signed head", day) for day in ("2026-03-10", "2026-03-12")] == [3, 4]
    assert [one for one in found(shop.verify()) if "signed head" in one] == []
    shop.run(sa.delete(SignedHead).where(SignedHead.day == "2026-03-10"))
    assert [one for one in found(shop.verify()) if "signed head" in one] == [
        "entry 3, signed head 2026-03-10: the record is gone"
    ]
    assert last > 2


def _verify_command(shop: Shop, monkeypatch: Any, *words: str) -> int:
    settings = shop.app.state.settings
    monkeypatch.setenv("PULLBOOK_DATABASE_URL", settings.database_url)
    monkeypatch.setenv("PULLBOOK_DATA_DIR", str(settings.data_dir))
    return main(["verify", *words])


def test_another_key_put_in_the_file(shop: Shop, monkeypatch: Any, capsys: Any) -> None:
    sign_in(shop.tuner, TUNER)
    path = shop.app.state.settings.signing_key
    known, kept = read_key(path), path.read_bytes()
    path.unlink()
    make_key(path)
    other = read_key(path)
    assert known is not None
    assert other is not None
    filed(shop.tuner, shop.house, Steady(start_rad_s=47.0).csv())
    assert [row.id for row in shop.rows(sa.select(ChainKey.id))] == [known.key_id]
    number = shop.entry("key", known.key_id)
    assert _verify_command(shop, monkeypatch) == 1
    said = f"the file holds this key, and not {known.key_id}, which entry {number} names as the shop's: it was swapped"
    assert f"NOT AS IT WAS: key {other.key_id}: {said}" in capsys.readouterr().out
    path.write_bytes(b"rubbish")
    assert _verify_command(shop, monkeypatch) == 1
    assert "cannot be read" in capsys.readouterr().out
    path.write_bytes(kept)
    assert _verify_command(shop, monkeypatch) == 0


@pytest.mark.parametrize("reason", ["", "another key was put in its file"])
def test_a_key_that_took_anothers_place_and_nobody_said_why(shop: Shop, reason: str) -> None:
    """As versions did that took in whatever lay in the file."""
    path = shop.app.state.settings.signing_key
    known = read_key(path)
    path.unlink()
    make_key(path)
    other = read_key(path)
    assert known is not None
    assert other is not None
    enter_key(shop.app.state.database, other, shop.now.value, reason)
    number = shop.entry("key", other.key_id)
    said = f"it took the place of key {known.key_id}, and nobody said why"
    assert found(shop.verify()) == [f"entry {number}, key {other.key_id}: {said}"]
    assert shop.verify(accepted=[number]).findings == []


def test_a_head_signed_with_a_key_whose_place_another_had_taken(shop: Shop) -> None:
    """By whoever stole the first key, after the shop said that it was stolen."""
    path = shop.app.state.settings.signing_key
    stolen = read_key(path)
    path.unlink()
    make_key(path)
    other = read_key(path)
    assert stolen is not None
    assert other is not None
    enter_key(shop.app.state.database, other, shop.now.value, "The first was stolen")
    shop.now.advance(days=1)
    attest(shop.app.state.database, path, shop.now.value)
    assert found(shop.verify()) == []
    head = _head(shop)
    text = head_text(head.day, head.entries, head.head, head.signed_at, (head.trail_entries, head.trail_hash))
    forged = {"key_id": stolen.key_id, "signature": stolen.sign(text)}
    shop.run(sa.update(SignedHead).where(SignedHead.day == head.day).values(forged))
    said = f"it is signed by key {stolen.key_id}, and the shop's was {other.key_id} by then"
    assert f"entry {head.entries}, signed head {head.day}: {said}" in found(shop.verify())


def test_whatever_is_entered_first_on_a_day_has_the_days_head_signed(shop: Shop) -> None:
    shop.now.advance(days=1)
    shop.publish()
    days = [one.day for one in shop.rows(sa.select(SignedHead.day).order_by(SignedHead.day))]
    assert days[-1] == "2026-03-12"
    assert _head(shop).entries == shop.last() - 1  # the publication itself; the head's own entry follows


def test_a_fingerprint_from_paper_is_an_anchor(shop: Shop, monkeypatch: Any, capsys: Any) -> None:
    number = shop.entry("published", shop.link_id)
    (head,) = shop.rows(sa.select(ChainEntry.head).where(ChainEntry.number == number))[0]
    typed = short_form(head).upper().replace("-", " ")
    assert _verify_command(shop, monkeypatch, "--anchors", typed) == 0
    said = capsys.readouterr().out
    assert (
        f"Fingerprint {typed} is of entry {number}, published {shop.link_id}, entered at 2026-03-10 09:00 UTC" in said
    )
    assert f"Entries 1 to {number}: vouched for by what was kept elsewhere." in said
    assert _verify_command(shop, monkeypatch, "--anchors", typed[:-1]) == 1
    assert "it is no whole fingerprint" in capsys.readouterr().err
    shop.run(sa.update(ChainEntry).where(ChainEntry.number == number).values(device_id=shop.house.cell_id))
    shop.write_anew(number, sign=True)
    assert shop.verify().findings == []  # whoever has database and key is shown by what was printed
    assert _verify_command(shop, monkeypatch, "--anchors", typed) == 1
    assert f"NOT AS IT WAS: fingerprint {typed}: no entry has it: the one it was printed" in capsys.readouterr().out
