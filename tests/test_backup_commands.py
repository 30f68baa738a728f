"""`pullbook backup` and `pullbook restore`: what comes back is what was there, on either engine and across them."""

import hashlib
import json
import os
import stat
import subprocess
import sys
import threading
import zipfile
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from pullbook.cli import main
from pullbook.db.carried import LEFT_OUT, carried_tables, tables_with_records
from pullbook.db.connect import connect
from pullbook.db.evidence import GUARDED
from pullbook.db.guards import missing_guards
from pullbook.db.migrating import migrate, revision_of
from pullbook.db.schema_state import known_revisions
from pullbook.settings import MIGRATIONS
from pullbook.shop.attesting import read_key
from pullbook.shop.backing_up import back_up, snapshot
from tests.api.pull_files import Steady, filed
from tests.conftest import ENGINES, Clock, client_of, serving, settings_for
from tests.furnishing import OWNER, START, sign_in

CHAIN = known_revisions(MIGRATIONS)


class Shop:
    """A shop with something of most kinds on record, and its command line."""

    def __init__(self, folder: Path, settings: Any, monkeypatch: Any, capsys: Any, request: Any) -> None:
        self.folder, self.settings, self.request = folder, settings, request
        self.monkeypatch, self.capsys = monkeypatch, capsys
        self.bundle = folder / "kept.zip"

    def run(self, *words: Any, url: str | None = None) -> tuple[int, str]:
        """A command, and all it said."""
        self.monkeypatch.setenv("PULLBOOK_DATABASE_URL", url or self.settings.database_url)
        self.monkeypatch.setenv("PULLBOOK_DATA_DIR", str(self.folder))
        code = main([str(word) for word in words])
        said = self.capsys.readouterr()
        return code, said.out + said.err

    def new(self, engine: str = "sqlite") -> str:
        """The address of a database in which there is not even a table."""
        if engine == "sqlite":
            return f"sqlite:///{self.folder}/new.sqlite3"
        postgres = self.request.getfixturevalue("postgres")
        return str(postgres.url(postgres.create()))

    def backed_up(self) -> Path:
        code, said = self.run("backup", self.bundle)
        assert code == 0, said
        return self.bundle


@pytest.fixture
def shop(tmp_path: Path, settings: Any, owner: Any, house: Any, monkeypatch: Any, capsys: Any, request: Any) -> Shop:
    pulls = [filed(owner, house, Steady(gain_rad_s2=gain).csv())["id"] for gain in (8.0, 8.5)]
    ticket = f"/api/v1/tickets/{house.ticket_id}"
    published = {"pull_ids": pulls, "standard": "iso_1585", "note": "Für Ödön – \u2028 “so”", "pin": "839201"}
    assert owner.post(f"{ticket}/results-links", json=published).status_code == 201
    aside = owner.post(f"/api/v1/pulls/{pulls[1]}/set-aside", json={"reason": "strap slipped"})
    assert aside.status_code == 201, aside.text
    return Shop(tmp_path, settings, monkeypatch, capsys, request)


def manifest(path: Path) -> Any:
    with zipfile.ZipFile(path) as bundle:
        return json.loads(bundle.read("manifest.json"))


def hashes(path: Path) -> dict[str, tuple[int, str]]:
    return {one["table"]: (one["rows"], one["sha256"]) for one in manifest(path)["parts"] if one["table"]}


def rewritten(path: Path, change: Any) -> Path:
    """The bundle with its members changed by whoever has a zip program."""
    with zipfile.ZipFile(path) as bundle:
        members = {name: bundle.read(name) for name in bundle.namelist()}
    change(members)
    with zipfile.ZipFile(path, "w") as bundle:
        for name, content in members.items():
            bundle.writestr(name, content)
    return path


def told(**changes: Any) -> Any:
    """A change of what the manifest says."""

    def change(members: dict[str, bytes]) -> None:
        members["manifest.json"] = json.dumps({**json.loads(members["manifest.json"]), **changes}).encode()

    return change


def replaced(old: bytes, new: bytes, *, with_its_hash: bool = False) -> Any:
    """A change of a customer's row, by somebody who also writes its hash into the manifest or who does not."""

    def change(members: dict[str, bytes]) -> None:
        name = "tables/customer.jsonl"
        assert old in members[name]
        members[name] = members[name].replace(old, new)
        if with_its_hash:
            said = json.loads(members["manifest.json"])
            part = next(one for one in said["parts"] if one["name"] == name)
            part |= {"sha256": hashlib.sha256(members[name]).hexdigest(), "size_bytes": len(members[name])}
            members["manifest.json"] = json.dumps(said).encode()

    return change


@pytest.mark.parametrize("engine", ENGINES)
def test_what_comes_back_is_what_was_there(shop: Shop, engine: str) -> None:
    before = shop.backed_up()
    url = shop.new(engine)
    code, said = shop.run("restore", before, url=url)
    assert code == 0, said
    again = shop.folder / "again.zip"
    assert shop.run("backup", again, url=url)[0] == 0
    assert hashes(again) == hashes(before)
    assert sum(rows for rows, _ in hashes(before).values()) > 40
    assert manifest(before)["schema"] == CHAIN[-1]
    code, said = shop.run("verify", "--columns", "--anchors", before, url=url)
    assert code == 0, said
    assert f"Entries 1 to {manifest(before)['chain']['entries']}: vouched for by what was kept elsewhere" in said


@pytest.mark.parametrize("engine", ENGINES)
def test_the_shop_goes_on_where_it_was(shop: Shop, engine: str, house: Any) -> None:
    url = shop.new(engine)
    shop.backed_up()
    assert shop.run("restore", shop.bundle, url=url)[0] == 0
    assert shop.run("months", "rebuild", url=url)[1] == "1 ticket counted; it comes to what was kept\n"
    settings = settings_for(url, shop.folder)
    with serving(settings, Clock()) as (app, client), closing(connect(url)) as records:
        assert client.get("/api/v1/archive").status_code == 401
        sign_in(client, OWNER)
        plate = client.get(f"/api/v1/vehicles/{house.vehicle_id}").json()["plate"]
        assert len(client.get("/api/v1/archive", params={"q": plate}).json()["items"]) == 2
        body = {"customer_id": house.customer_id, "vehicle_id": house.vehicle_id, "asked": "zwölf more"}
        opened = client.post("/api/v1/tickets", json={**body, "cell_id": house.cell_id})
        assert (opened.status_code, opened.json()["number"]) == (201, 2), opened.text
        filed(client, house, Steady(gain_rad_s2=9.0).csv())
        assert app.state.database.url == records.url
        with records.reading() as session:
            assert missing_guards(session.connection(), GUARDED) == []
        with pytest.raises(sa.exc.IntegrityError), records.writing() as session:
            session.execute(sa.text("UPDATE raw_file SET size_bytes = 1"))
    code, said = shop.run("verify", "--anchors", shop.bundle, url=url)
    assert code == 0, said


@pytest.mark.parametrize("engine", ENGINES)
def test_search_texts_come_back_as_they_would_be_made_anew(shop: Shop, engine: str) -> None:
    url = shop.new(engine)
    shop.backed_up()
    assert shop.run("restore", shop.bundle, url=url)[0] == 0
    assert shop.run("archive", "rebuild", "--words-only", url=url)[0] == 0
    again = shop.folder / "again.zip"
    assert shop.run("backup", again, url=url)[0] == 0
    assert hashes(again)["found_ticket"] == hashes(shop.bundle)["found_ticket"]


def test_a_backup_sees_one_moment_whatever_is_written_meanwhile(app: Any, owner: Any, house: Any) -> None:
    body = {"full_name": "Come Meanwhile"}
    with snapshot(app.state.database) as connection:
        assert revision_of(connection) == CHAIN[-1]
        before = {one.name: one.count(connection) for one in carried_tables()}
        for one in carried_tables():
            if one.name in ("audit_entry", "customer", "audit_detail"):
                assert owner.post("/api/v1/customers", json=body).status_code == 201
            assert len(list(one.lines(connection))) - 1 == before[one.name]
    with snapshot(app.state.database) as connection:
        assert tables_with_records(connection)["customer"] == before["customer"] + 3


def test_a_backup_taken_while_others_write_can_be_restored_and_verified(shop: Shop, client_for: Any, now: Any) -> None:
    writer, stop, written = client_for("owner"), threading.Event(), []

    def write() -> None:
        while not stop.is_set():
            answer = writer.post("/api/v1/customers", json={"full_name": f"Number {len(written)}"})
            written.append(answer.status_code)

    busy = threading.Thread(target=write)
    busy.start()
    try:
        while len(written) < 3:
            stop.wait(0.01)
        with closing(connect(shop.settings.database_url)) as database:
            made = back_up(database, read_key(shop.settings.signing_key), now.value, shop.bundle, "1")
    finally:
        stop.set()
        busy.join()
    assert set(written) == {201}
    assert made.rows == sum(rows for rows, _ in hashes(shop.bundle).values())
    url = shop.new()
    assert shop.run("restore", shop.bundle, url=url)[0] == 0
    code, said = shop.run("verify", "--anchors", shop.bundle, url=url)
    assert code == 0, said


REFUSED = {
    "cut off": (lambda path: path.write_bytes(path.read_bytes()[: path.stat().st_size // 2]), "cut off, altered"),
    "cut at its end": (lambda path: path.write_bytes(path.read_bytes()[:-30]), "cut off, altered"),
    "a byte changed": (lambda path: _flip(path), "altered"),
    "a row changed": (lambda path: rewritten(path, replaced(b'"', b"'")), "customer.jsonl is not what its"),
    "no manifest": (
        lambda path: rewritten(path, lambda members: members.pop("manifest.json")),
        "no backup of Pullbook",
    ),
    "a part missing": (lambda path: rewritten(path, lambda members: members.pop("tables/pull.jsonl")), "pull.jsonl"),
    "a part too many": (lambda path: rewritten(path, lambda members: members.update(x=b"")), "differ by x"),
    "a letter": (lambda path: path.write_text("dear customer"), "no backup"),
    "another zip": (lambda path: rewritten(path, told(kind="holiday pictures")), "no backup of Pullbook"),
    "a newer schema": (lambda path: rewritten(path, told(schema="2099_01_01_next")), "newer version of Pullbook"),
    "a newer bundle": (lambda path: rewritten(path, told(format=2)), "newer version of Pullbook"),
    "an older schema": (lambda path: rewritten(path, told(schema=CHAIN[-2])), "older version of Pullbook"),
    "no parts": (lambda path: rewritten(path, told(parts=[])), "altered"),
    "odd parts": (lambda path: rewritten(path, told(parts=[{"name": 1}])), "not as Pullbook writes it"),
}


def _flip(path: Path) -> None:
    content = bytearray(path.read_bytes())
    content[len(content) // 3] ^= 0x10
    path.write_bytes(content)


def test_a_bundle_that_is_not_whole_is_refused_before_anything_is_touched(shop: Shop) -> None:
    whole = shop.backed_up().read_bytes()
    said = {}
    for fault, (change, _) in REFUSED.items():
        shop.bundle.write_bytes(whole)
        change(shop.bundle)
        said[fault] = shop.run("restore", shop.bundle, url=shop.new())
    missed = {name: said[name] for name, (_, words) in REFUSED.items() if words not in said[name][1]}
    assert missed == {}
    assert {(code, words.count("\n")) for code, words in said.values()} == {(1, 1)}
    assert shop.run("restore", shop.folder / "nowhere.zip", url=shop.new())[1].startswith("pullbook: there is no file")
    assert not (shop.folder / "new.sqlite3").exists()


@pytest.mark.parametrize("engine", ENGINES)
def test_rows_that_break_a_rule_leave_an_empty_database_that_takes_the_right_ones(shop: Shop, engine: str) -> None:
    url, whole = shop.new(engine), shop.folder / "whole.zip"
    whole.write_bytes(shop.backed_up().read_bytes())
    first = manifest(shop.bundle)["parts"]
    assert next(one for one in first if one["table"] == "customer")["rows"] == 1
    customer = zipfile.ZipFile(shop.bundle).read("tables/customer.jsonl").splitlines()[1]
    broken = json.loads(customer)
    broken[0] = "0000000000001"  # tickets then refer to nobody
    line = json.dumps(broken, ensure_ascii=False, separators=(",", ":")).encode()
    rewritten(shop.bundle, replaced(customer, line, with_its_hash=True))
    migrate(url, MIGRATIONS)
    code, said = shop.run("restore", shop.bundle, url=url)
    assert code == 1
    assert "nothing was kept" in said
    with closing(connect(url)) as records, records.reading() as session:
        assert tables_with_records(session.connection()) == {}
        assert missing_guards(session.connection(), GUARDED) == []
    assert shop.run("restore", whole, url=url)[0] == 0


@pytest.mark.parametrize(
    "row", [b"[1,2]", b"NaN", b"{}", b"null", b'"x"', b"[NaN,[],{},0,0,0,0,0,0]", b"[0,0,0,0,0,0,1e400,0,0]",
            b'["\\ud800","","","","","","2026-01-01",1,null]']
)  # fmt: skip
def test_a_line_that_is_no_row_is_refused_in_words(shop: Shop, row: bytes) -> None:
    shop.backed_up()
    customer = zipfile.ZipFile(shop.bundle).read("tables/customer.jsonl")
    rewritten(shop.bundle, replaced(customer.splitlines()[1], row, with_its_hash=True))
    url = shop.new()
    code, said = shop.run("restore", shop.bundle, url=url)
    assert code == 1
    assert "nothing was" in said
    with closing(connect(url)) as records, records.reading() as session:
        assert tables_with_records(session.connection()) == {}


@pytest.mark.skipif(os.name != "posix", reason="a limit on a file's size is POSIX's")
def test_a_backup_that_finds_no_room_says_so_and_no_more(shop: Shop) -> None:
    told = {"PULLBOOK_DATABASE_URL": shop.settings.database_url, "PULLBOOK_DATA_DIR": str(shop.folder)}
    limited = "import resource, sys; resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000)); "
    limited += "from pullbook.cli import main; sys.exit(main(sys.argv[1:]))"
    command = [sys.executable, "-c", limited, "backup", str(shop.bundle)]
    done = subprocess.run(command, env=os.environ | told, capture_output=True, text=True)
    assert done.returncode == 1
    assert done.stderr.startswith(f"pullbook: {shop.bundle} cannot be written")
    assert done.stderr.count("\n") == 1
    assert not list(shop.folder.glob("**/*.half"))


def test_a_database_with_records_is_left_as_it_is(shop: Shop) -> None:
    shop.backed_up()
    code, said = shop.run("restore", shop.bundle)
    assert code == 1
    assert "the database is not empty" in said
    again = shop.folder / "again.zip"
    assert shop.run("backup", again)[0] == 0
    assert hashes(again) == hashes(shop.bundle)


def test_a_backup_is_never_written_over_and_leaves_nothing_half(shop: Shop) -> None:
    before = shop.backed_up().read_bytes()
    assert stat.S_IMODE(shop.bundle.stat().st_mode) == 0o600
    code, said = shop.run("backup", shop.bundle)
    assert code == 1
    assert "not written over" in said
    assert shop.bundle.read_bytes() == before
    code, said = shop.run("backup", shop.folder / "no" / "such" / "place.zip")
    assert code == 1
    assert "cannot be written" in said
    folder = shop.folder / "copies"
    folder.mkdir()
    assert shop.run("backup", folder)[0] == 0
    assert [one.suffix for one in folder.iterdir()] == [".zip"]
    assert not list(shop.folder.glob("**/*.half"))


def test_keys_and_open_sign_ins_are_not_in_it(shop: Shop, owner: Any) -> None:
    code, said = shop.run("backup", shop.bundle)
    assert code == 0
    assert str(shop.settings.signing_key) in said
    assert str(shop.settings.link_key_path) in said
    assert {"sign_in", "invitation", "tries", "found_late"} == LEFT_OUT
    secret = shop.settings.signing_key.read_bytes()
    links = shop.settings.link_key_path.read_bytes().strip()
    with zipfile.ZipFile(shop.bundle) as bundle:
        for name in bundle.namelist():
            assert secret not in bundle.read(name)
            assert links not in bundle.read(name)
            assert not any(f"/{table}." in name for table in LEFT_OUT)
    url = shop.new()
    assert shop.run("restore", shop.bundle, url=url)[0] == 0
    with serving(settings_for(url, shop.folder), Clock()) as (app, client):
        old = client_of(app, shop.settings, client.portal)
        old.cookies = owner.cookies
        assert owner.get("/api/v1/account").status_code == 200
        assert old.get("/api/v1/account").status_code == 401


def test_without_its_key_the_head_is_told_unsigned_and_still_holds(shop: Shop) -> None:
    shop.settings.signing_key.unlink()
    code, told = shop.run("backup", shop.bundle)
    assert code == 0
    assert f"It is not signed: the key that was in {shop.settings.signing_key} is" in told
    with zipfile.ZipFile(shop.bundle) as bundle:
        head = bundle.read("head.txt").decode()
    assert head.startswith("pullbook head 2\n")
    assert "— pullbook" not in head
    assert shop.run("verify", "--anchors", shop.bundle)[0] == 0


def test_a_part_names_its_columns_and_tells_times_in_utc(shop: Shop) -> None:
    with zipfile.ZipFile(shop.backed_up()) as bundle:
        names, *rows = (json.loads(line) for line in bundle.read("tables/pull.jsonl").splitlines())
    at = rows[0][names.index("received_at")]
    assert datetime.fromisoformat(at) == START.astimezone(UTC)
    assert len(rows) == 2
