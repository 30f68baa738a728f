"""Tampering, one thing at a time, by whoever has the database's own shell and takes the guards off: each is found by
`verify` with its entry named, and what nothing in the database can show is shown by what was kept elsewhere.

What a careful forger can do is done here with the service's own definitions of the hashes: they are no secret.
"""

import json
import shutil
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
import zstandard

from pullbook.cli import main
from pullbook.db.chain import ChainEntry, ChainSalt, SignedHead
from pullbook.db.evidence import GUARDED, AuditEntry, ColumnBlock, Pull, RawFile, ResultsLink
from pullbook.db.migrating import migration_engine
from pullbook.db.tables import Calibration, Counter, WeatherReading
from pullbook.shop.anchoring import anchors_in
from pullbook.shop.attesting import head_text, note_of, read_key, text_of_head
from pullbook.shop.chaining import forget_words
from pullbook.shop.examining import Wanted, examine
from pullbook.shop.rehashing import Share
from pullbook.shop.sealing import entry_of, head_of, row_digest
from tests.api.pull_files import Steady, filed
from tests.furnishing import TUNER, sign_in


class Shop:
    """A shop with two days of pulls, and somebody in it with a shell."""

    def __init__(self, app: Any, tuner: Any, house: Any, now: Any) -> None:
        self.app, self.tuner, self.house, self.now = app, tuner, house, now
        self.pulls = [self.file(start_rad_s=40.0, gain_rad_s2=8.0), self.file(gain_rad_s2=8.8, setup=1)]
        self.link_id = self.publish()
        now.advance(hours=15)
        sign_in(tuner, TUNER)
        self.kept()  # with the first that is asked of a day its head is signed
        self.pulls.append(self.file(start_rad_s=42.0))

    def file(self, setup: int = 0, **changes: Any) -> dict[str, Any]:
        return filed(self.tuner, self.house, Steady(**changes).csv(), setup_id=self.house.setup_ids[setup])

    def publish(self) -> str:
        """A link to the first two pulls; its id."""
        sign_in(self.tuner, TUNER)
        asked = {"pull_ids": [one["id"] for one in self.pulls[:2]], "standard": "iso_1585", "note": "For the customer"}
        answer = self.tuner.post(f"/api/v1/tickets/{self.house.ticket_id}/results-links", json=asked)
        assert answer.status_code == 201, answer.text
        return str(answer.json()["id"])

    def heads_note(self, row: Any) -> str:
        """A head as somebody keeps it elsewhere."""
        return note_of(text_of_head(row), row.key_id, row.signature)

    def run(self, *statements: Any) -> None:
        """Straight into the database, past every guard and reference, on a connection of nobody's."""
        url = self.app.state.database.url
        engine = migration_engine(url)
        with engine.begin() as connection:
            if url.get_backend_name() == "postgresql":
                connection.exec_driver_sql("SET session_replication_role = replica")
            for table in GUARDED:
                on = "" if url.get_backend_name() == "sqlite" else f" ON {table}"
                for last in ("update", "delete"):
                    connection.exec_driver_sql(f"DROP TRIGGER IF EXISTS guard_{table}_{last}{on}")
            for statement in statements:
                connection.execute(statement)
        engine.dispose()

    def rows(self, statement: Any) -> list[Any]:
        with self.app.state.database.reading() as session:
            return list(session.execute(statement).all())

    def entry(self, kind: str, record_id: str) -> int:
        asked = sa.select(ChainEntry.number).where(ChainEntry.kind == kind, ChainEntry.record_id == record_id)
        return int(self.rows(asked)[0][0])

    def last(self) -> int:
        return int(self.rows(sa.select(sa.func.max(ChainEntry.number)))[0][0])

    def verify(self, anchors: str = "", **wanted: Any) -> Any:
        asked = Wanted(anchors=anchors_in("kept.txt", anchors), **wanted)
        with self.app.state.database.reading() as session:
            return examine(session, self.now.value, asked, lambda _words: None)

    def kept(self) -> str:
        """The receipt of the last pull, as somebody keeps it elsewhere."""
        return str(self.tuner.get(f"/api/v1/pulls/{self.pulls[-1]['id']}/receipt").text)

    def write_anew(self, first: int, sign: bool) -> None:
        """Every entry from `first` on, hashed again over what it says now; with the key the heads are signed again."""
        rows = [dict(row._mapping) for row in self.rows(sa.select(ChainEntry.__table__).order_by(ChainEntry.number))]
        heads, signed = {0: "0" * 64}, []
        for row in rows:
            if row["number"] >= first:
                if sign and row["kind"] == "signed head":
                    signed.append(self._signed_anew(row["record_id"], heads))
                    row["row_digest"] = row_digest("signed head", {**signed[-1], "id": row["record_id"]})
                row["previous"] = heads[row["number"] - 1]
                row["head"] = head_of(entry_of(row))
            heads[row["number"]] = row["head"]
        changed = [row for row in rows if row["number"] >= first]
        table = ChainEntry.__table__
        loose = [  # out of one another's way first: neither head nor previous may stand twice
            sa.update(table).where(table.c.number == row["number"]).values(_loose(row["number"]))
            for row in changed
        ]  # fmt: skip
        self.run(*loose, *(sa.update(table).where(table.c.number == row["number"]).values(row) for row in changed))
        self.run(*(sa.update(SignedHead).where(SignedHead.day == one["day"]).values(one) for one in signed))

    def _signed_anew(self, day: str, heads: dict[int, str]) -> dict[str, Any]:
        signer = read_key(self.app.state.settings.signing_key)
        assert signer is not None
        (row,) = self.rows(sa.select(SignedHead.__table__).where(SignedHead.day == day))
        trail = (row.trail_entries, row.trail_hash)
        text = head_text(day, row.entries, heads[row.entries], row.signed_at, trail)
        return {**row._mapping, "head": heads[row.entries], "signature": signer.sign(text)}


@pytest.fixture
def shop(app: Any, tuner: Any, house: Any, now: Any) -> Shop:
    made = Shop(app, tuner, house, now)
    assert made.verify(made.kept(), with_columns=True).findings == []
    return made


def _loose(number: int) -> dict[str, str]:
    return {"head": f"{number:064d}", "previous": f"f{number:063d}"}


def found(report: Any) -> list[str]:
    words = [one.words for one in report.findings]
    print(*words, sep="\n")  # shown with -rP
    return words


def test_a_byte_of_a_raw_file(shop: Shop) -> None:
    sha256 = shop.pulls[0]["sha256"]
    packed = shop.rows(sa.select(RawFile.zstd).where(RawFile.sha256 == sha256))[0][0]
    data = bytearray(zstandard.ZstdDecompressor().decompress(packed))
    data[len(data) // 2] ^= 1
    other = zstandard.ZstdCompressor().compress(bytes(data))
    shop.run(sa.update(RawFile).where(RawFile.sha256 == sha256).values(zstd=other))
    (words,) = found(shop.verify())
    assert words.startswith(f"entry {shop.entry('pull', shop.pulls[0]['id'])}, file of pull {shop.pulls[0]['id']}: ")
    assert f"and not to {sha256}" in words


def test_packed_bytes_that_no_longer_unpack(shop: Shop) -> None:
    sha256 = shop.pulls[0]["sha256"]
    shop.run(sa.update(RawFile).where(RawFile.sha256 == sha256).values(zstd=b"\x28\xb5\x2f\xfdrubbish"))
    (words,) = found(shop.verify())
    assert words.startswith(f"entry {shop.entry('pull', shop.pulls[0]['id'])}, ")
    assert "cannot be unpacked" in words


def test_a_columns_block_that_is_not_what_the_file_holds(shop: Shop) -> None:
    sha256 = shop.pulls[0]["sha256"]
    other = shop.rows(sa.select(ColumnBlock.block).where(ColumnBlock.sha256 == shop.pulls[2]["sha256"]))[0][0]
    shop.run(sa.update(ColumnBlock).where(ColumnBlock.sha256 == sha256).values(block=other))
    words = found(shop.verify(with_columns=True))
    named = f"entry {shop.entry('pull', shop.pulls[0]['id'])}, columns of file"
    assert any(one.startswith(named) for one in words)
    assert any("the same records give other figures now" in one for one in words)


@pytest.mark.parametrize(
    ("table", "kind", "change"),
    [
        (Calibration, "calibration", {"inertia_kg_m2": 4.6}),
        (Calibration, "calibration", {"evidence": "measured twice"}),
        (WeatherReading, "weather", {"station_pressure_kpa": 97.1}),
        (ResultsLink, "published", {"digest": "ab" * 32}),
        (ResultsLink, "published", {"note": "Another word"}),
    ],
    ids=["a calibration", "words of a calibration", "a weather row", "a published digest", "a published note"],
)
def test_a_row_of(shop: Shop, table: Any, kind: str, change: dict[str, Any]) -> None:
    record_id = shop.rows(sa.select(table.id))[0][0]
    shop.run(sa.update(table).where(table.id == record_id).values(change))
    words = found(shop.verify())
    assert words[0].startswith(f"entry {shop.entry(kind, record_id)}, {kind} {record_id}: ")
    assert next(iter(change)) in words[0]


def test_when_a_pull_was_taken(shop: Shop) -> None:
    pull = shop.pulls[0]["id"]
    shop.run(sa.update(Pull).where(Pull.id == pull).values(taken_at=shop.now.value - timedelta(days=9)))
    assert found(shop.verify())[0].startswith(f"entry {shop.entry('pull', pull)}, pull {pull}: ")


def test_a_row_put_in_past_the_service(shop: Shop) -> None:
    with shop.app.state.database.writing() as session:
        reading = session.scalars(sa.select(WeatherReading)).first()
        names = [column.name for column in WeatherReading.__table__.columns if column.name not in ("id",)]
        twin = WeatherReading(**{name: getattr(reading, name) for name in names})
        twin.air_temperature_c += 12.0
        session.add(twin)
    assert found(shop.verify()) == [f"weather {twin.id}: it stands in no entry: it was put in past the service"]


def test_an_entry_that_says_something_else(shop: Shop) -> None:
    number = shop.entry("pull", shop.pulls[0]["id"])
    shop.run(sa.update(ChainEntry).where(ChainEntry.number == number).values(size_bytes=7))
    assert found(shop.verify())[0].startswith(f"entry {number}, pull {shop.pulls[0]['id']}: what it says is not")


def test_an_entry_taken_out_of_the_middle(shop: Shop) -> None:
    number = shop.entry("pull", shop.pulls[0]["id"])
    shop.run(sa.delete(ChainSalt).where(ChainSalt.number == number), _cut(ChainEntry.number == number))
    words = found(shop.verify())
    assert any(one.startswith(f"entry {number + 1}, ") and f"entry {number} is missing" in one for one in words)
    assert f"pull {shop.pulls[0]['id']}: it stands in no entry: it was put in past the service" in words


def _cut(which: Any) -> Any:
    return sa.delete(ChainEntry).where(which)


def _cut_off_the_last(shop: Shop) -> int:
    """The last entry, its record and all that counts it, as somebody does who knows the tables."""
    last, pull = shop.last(), shop.pulls[-1]
    shop.run(
        sa.delete(SignedHead).where(SignedHead.entries >= last),
        sa.delete(ChainSalt).where(ChainSalt.number == last),
        _cut(ChainEntry.number == last),
        sa.update(Counter).where(Counter.name == "chain_entry").values(last=last - 1),
        sa.delete(Pull).where(Pull.id == pull["id"]),
        sa.delete(ColumnBlock).where(ColumnBlock.sha256 == pull["sha256"]),
        sa.delete(RawFile).where(RawFile.sha256 == pull["sha256"]),
    )
    return last


def test_the_last_entry_cut_off(shop: Shop) -> None:
    last = shop.last()
    shop.run(sa.delete(ChainSalt).where(ChainSalt.number == last), _cut(ChainEntry.number == last))
    words = found(shop.verify())
    assert f"entry {last}, chain: {last} numbers were given out and the last entry is {last - 1}" in words[0]
    assert any(one.startswith(f"pull {shop.pulls[-1]['id']}: it stands in no entry") for one in words)


def test_the_last_entry_cut_off_with_all_that_counts_it(shop: Shop) -> None:
    kept = shop.kept()
    last = _cut_off_the_last(shop)
    assert shop.verify().findings == []  # nothing in the database can show it
    (words,) = found(shop.verify(kept))
    assert words.startswith(f"entry {last}, anchor kept.txt, entry {last}: it vouches for entry {last}, ")
    assert words.endswith(f"the chain ends at {last - 1}: entries are cut off")


def test_the_chain_written_anew_from_the_middle_without_the_key(shop: Shop) -> None:
    number = shop.entry("pull", shop.pulls[0]["id"])
    shop.run(sa.update(ChainEntry).where(ChainEntry.number == number).values(device_id=shop.house.cell_id))
    shop.write_anew(number, sign=False)
    words = found(shop.verify())
    days = shop.rows(sa.select(SignedHead.day, SignedHead.entries).where(SignedHead.entries >= number))
    assert len(days) == 1  # that of the day before was signed with the first calibration
    for one, (day, entries) in zip(words, days, strict=True):
        assert one.startswith(f"entry {entries}, signed head {day}: entry {entries} is not the one that was signed")


def test_the_chain_written_anew_from_the_middle_with_the_key(shop: Shop) -> None:
    kept, number = shop.kept(), shop.entry("pull", shop.pulls[0]["id"])
    shop.run(sa.update(ChainEntry).where(ChainEntry.number == number).values(device_id=shop.house.cell_id))
    shop.write_anew(number, sign=True)
    assert shop.verify().findings == []  # whoever has database and key is shown by an anchor alone
    (words,) = found(shop.verify(kept))
    last = shop.last()
    assert words.startswith(f"entry {last}, anchor kept.txt, entry {last}: entry {last} is not the one it vouches for")


def test_a_head_signed_with_another_key(shop: Shop) -> None:
    day = shop.rows(sa.select(SignedHead.day))[0][0]
    shop.run(sa.update(SignedHead).where(SignedHead.day == day).values(signature="AAAA" * 21 + "AA=="))
    assert any("the signature is not key" in one for one in found(shop.verify()))


def test_the_clock_set_back(shop: Shop) -> None:
    shop.now.advance(hours=-30)
    sign_in(shop.tuner, TUNER)
    forged = filed(shop.tuner, shop.house, Steady(start_rad_s=45.0).csv(), taken_at="2026-03-09T17:00:00Z")
    number = forged["receipt"]["entry_number"]
    shop.now.advance(hours=30)
    words, of_head = found(shop.verify())
    assert words.startswith(f"entry {number}, pull {forged['id']}: the clock was set back: entered at 2026-03-09")
    assert of_head.startswith(f"entry {number + 1}, signed head 2026-03-09: the clock was set back")
    assert shop.verify(accepted=[number, number + 1]).findings == []  # a wrong clock that somebody explained


def test_a_time_that_is_still_to_come(shop: Shop) -> None:
    shop.now.advance(hours=-15)
    words = found(shop.verify())
    assert words[0].startswith("entry ")
    assert all("which is still to come" in one for one in words)


def test_an_older_copy_put_in_place_of_the_database(shop: Shop, engine_name: str, tmp_path: Path) -> None:
    copy = tmp_path / "older.sqlite3"
    if engine_name == "sqlite":
        path = Path(shop.app.state.database.url.database)
        shop.app.state.database.close()
        shutil.copyfile(path, copy)
        shop.pulls.append(shop.file(start_rad_s=46.0))
    kept, last = shop.kept(), shop.last()
    if engine_name == "sqlite":
        shop.app.state.database.close()
        shutil.copyfile(copy, path)
    else:
        _cut_off_the_last(shop)  # what an older copy comes to
    assert shop.verify().findings == []
    (words,) = found(shop.verify(kept))
    assert f"it vouches for entry {last}, and the chain ends at {last - 1}" in words


def test_an_audit_entry(shop: Shop) -> None:
    shop.run(sa.update(AuditEntry).where(AuditEntry.number == 5).values(action="nothing"))
    assert found(shop.verify()) == ["audit trail 5: its entry of this number does not follow, or was cut off"]


def test_a_receipt_that_was_altered_itself(shop: Shop) -> None:
    kept = shop.kept().replace("size ", "size 1")
    (words,) = found(shop.verify(kept))
    assert words.endswith("its signature is not over what it says: the copy itself was altered")


def test_a_part_of_the_archive_is_looked_at_by_share(shop: Shop) -> None:
    parts = [shop.verify(share=Share(part, 4)).files_looked_at for part in (1, 2, 3, 4)]
    assert sum(parts) == 3
    assert shop.verify().files_looked_at == 3


def test_the_report_says_what_is_vouched_for_by_what(shop: Shop) -> None:
    kept = shop.kept()
    shop.file(start_rad_s=44.0)
    report, last = shop.verify(kept), shop.last()
    assert report.ranges == [("outside", 1, last - 1), ("nothing", last, last)]
    shop.now.advance(days=1)
    # the day's head was signed before its two pulls came
    assert shop.verify().ranges == [("signed head", 1, last - 3), ("nothing", last - 2, last)]


def _command(shop: Shop, monkeypatch: Any, *words: str) -> int:
    settings = shop.app.state.settings
    monkeypatch.setenv("PULLBOOK_DATABASE_URL", settings.database_url)
    monkeypatch.setenv("PULLBOOK_DATA_DIR", str(settings.data_dir))
    return main(words)


def test_the_command_fails_names_the_entry_and_changes_nothing(shop: Shop, monkeypatch: Any, capsys: Any) -> None:
    assert _command(shop, monkeypatch, "verify") == 0
    assert "Everything is as it was entered." in capsys.readouterr().out
    shop.run(sa.update(WeatherReading).values(station_pressure_kpa=97.1))
    before = shop.rows(sa.select(sa.func.count()).select_from(ChainEntry))
    assert _command(shop, monkeypatch, "verify", "--json") == 1
    told = capsys.readouterr()
    found = [(one["kind"], one["entry"]) for one in json.loads(told.out)["findings"]]
    # the reading itself, and whatever was published with it and moved without a word in the trail
    assert found[0] == ("weather", shop.entry("weather", shop.house.weather_id))
    assert {kind for kind, _ in found[1:]} <= {"published"}
    things = "1 thing" if len(found) == 1 else f"{len(found)} things"
    assert told.err == f"pullbook: {things} not as it was; nothing was changed\n"
    assert shop.rows(sa.select(sa.func.count()).select_from(ChainEntry)) == before


def test_a_look_that_broke_off_goes_on_where_it_was(shop: Shop, monkeypatch: Any, capsys: Any, tmp_path: Path) -> None:
    state = tmp_path / "verify.json"
    names = sorted(one["sha256"] for one in shop.pulls)
    finding = {"entry": 3, "kind": "file of pull", "record_id": "x", "what": "found before it broke off"}
    told = {"part": 1, "of": 1, "columns": False, "after": names[1], "findings": [finding]}
    state.write_text(json.dumps(told))
    assert _command(shop, monkeypatch, "verify", "--json", "--state", str(state)) == 1
    report = json.loads(capsys.readouterr().out)
    assert [one["what"] for one in report["findings"]] == ["found before it broke off"]
    assert not state.exists()
    state.write_text(json.dumps({**told, "of": 9}))
    assert _command(shop, monkeypatch, "verify", "--state", str(state)) == 1
    assert "is of another share" in capsys.readouterr().err


def test_file_names_are_not_erased_by_dropping_what_they_were_salted_with(shop: Shop) -> None:
    shop.run(sa.update(Pull).values(file_name="erased"))
    assert len(shop.verify().findings) == 3
    with shop.app.state.database.writing() as session:
        forget_words(session, "pull", [one["id"] for one in shop.pulls])
    assert len(shop.verify().findings) == 3
