"""Sends pull files and weather from a cell's computer to the shop's Pullbook. One file; Python 3.9 or newer, no more.

    python cell_sender.py connect ADDRESS TOKEN     once: where to send to, with the token made on the Devices page
    python cell_sender.py send FILE…                send these, and end when each has its receipt or its refusal
    python cell_sender.py watch FOLDER              send what appears there, for as long as it runs
    python cell_sender.py weather FILE.csv          send its rows; --follow goes on as a station adds to it
    python cell_sender.py weather --now air_temperature_c=21.5 station_pressure_kpa=98.9 relative_humidity_pct=40
    python cell_sender.py state                     what was sent, what waits, what was refused

A file is first copied into the spool and written down in its journal, so neither a power cut nor a dead network loses
it; files go in the order they came. It counts as sent only when the answer carries the SHA-256 of what lies in the
spool. Nothing is ever deleted: copies move from `waiting` to `sent`, or to `refused` with the reason beside them. What
the shop signed for lies in `receipts`, for `pullbook verify --anchors` or `check_alone.py` to be held against.
"""

from __future__ import annotations  # the cell's computer may have Python 3.9

import argparse
import configparser
import csv
import hashlib
import json
import os
import random
import sqlite3
import sys
import time
import urllib.error
import urllib.parse
import urllib.request
from datetime import datetime, timezone
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

if TYPE_CHECKING:
    from collections.abc import Callable

UTC = timezone.utc  # noqa: UP017  the cell's computer may have an older Python than the server
HALF_WRITTEN = (".tmp", ".part", ".partial", ".crdownload", ".lock", "~")
REFUSALS = (400, 404, 409, 413, 415, 422)  # said by the service itself, sending the same again would not help
LONGEST_PAUSE_S = 60.0
JOURNAL = """CREATE TABLE IF NOT EXISTS item (place INTEGER PRIMARY KEY AUTOINCREMENT, what TEXT NOT NULL,
path TEXT NOT NULL, name TEXT NOT NULL, size INTEGER NOT NULL, changed_ns INTEGER NOT NULL, sha256 TEXT NOT NULL,
taken_at TEXT NOT NULL, state TEXT NOT NULL DEFAULT 'waiting', told TEXT NOT NULL DEFAULT '')"""


class NotNowError(Exception):
    """It could not be sent now; trying again later may help."""


class RefusedError(Exception):
    """The service will not take it; a person has to look."""


class NoRedirects(urllib.request.HTTPRedirectHandler):
    """A redirect would carry the token elsewhere, and turn the file into a question."""

    def redirect_request(self, *_: Any) -> None:
        return None


def keep_folder(folder: Path) -> None:
    """Have the folder itself on the disk, with the names in it; Windows does that by itself."""
    if os.name == "posix":
        opened = os.open(folder, os.O_RDONLY)
        os.fsync(opened)
        os.close(opened)


class Spool:
    """Copies of what is to be sent, and the journal of what became of each."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        for name in ("waiting", "sent", "refused"):
            (folder / name).mkdir(parents=True, exist_ok=True)
        self.journal = sqlite3.connect(folder / "journal.sqlite3", timeout=30, isolation_level=None)
        self.journal.execute("PRAGMA synchronous=FULL")
        self.journal.execute(JOURNAL)
        self.journal.execute("CREATE INDEX IF NOT EXISTS by_path ON item (path, size, changed_ns)")
        self.alone: sqlite3.Connection | None = None

    def be_the_sender(self) -> bool:
        """Whether this process is the one that sends; kept until it ends, however it ends."""
        if self.alone is None:
            lock = sqlite3.connect(self.folder / "sender.lock", timeout=0, isolation_level=None)
            try:
                lock.execute("BEGIN EXCLUSIVE")
            except sqlite3.OperationalError:
                lock.close()
                return False
            self.alone = lock
        return True

    def knows(self, path: Path, size: int, changed_ns: int, insists: bool = False) -> bool:
        """Whether this very state of the file was taken in before, and not refused when a person `insists`."""
        asked = "SELECT 1 FROM item WHERE path = ? AND size = ? AND changed_ns = ?"
        if insists:
            asked += " AND state <> 'refused'"
        return self.journal.execute(asked, (str(path), size, changed_ns)).fetchone() is not None

    def take_in(self, path: Path, insists: bool = False) -> int | None:
        """Copy a file that stands still; its place in the queue, or None when it is known or still moves."""
        before = path.stat()
        if before.st_size == 0 or self.knows(path, before.st_size, before.st_mtime_ns, insists):
            return None
        digest, half = hashlib.sha256(), self.folder / "waiting" / f"half-{os.getpid()}.tmp"
        with path.open("rb") as source, half.open("wb") as copy:
            for part in iter(lambda: source.read(1 << 20), b""):
                digest.update(part)
                copy.write(part)
            copy.flush()
            os.fsync(copy.fileno())
        after = path.stat()
        if (after.st_size, after.st_mtime_ns) != (before.st_size, before.st_mtime_ns):
            return None
        taken_at = datetime.fromtimestamp(before.st_mtime, UTC).isoformat()
        about = (str(path), path.name, before.st_size, before.st_mtime_ns, digest.hexdigest(), taken_at)
        return self._keep("pull", about, half)

    def take_in_reading(self, reading: dict[str, Any], source: str) -> int | None:
        """A weather reading as the JSON that will be sent; None when the very same was taken in before."""
        body = json.dumps(reading, sort_keys=True).encode()
        sha256 = hashlib.sha256(body).hexdigest()
        if self.journal.execute("SELECT 1 FROM item WHERE what = 'weather' AND sha256 = ?", (sha256,)).fetchone():
            return None
        half = self.folder / "waiting" / f"half-{os.getpid()}.tmp"
        with half.open("wb") as copy:
            copy.write(body)
            copy.flush()
            os.fsync(copy.fileno())
        return self._keep("weather", (source, "weather.json", len(body), 0, sha256, reading["read_at"]), half)

    def _keep(self, what: str, about: tuple[Any, ...], half: Path) -> int:
        columns = "what, path, name, size, changed_ns, sha256, taken_at"
        # the row counts only once the copy has its name: a power cut in between leaves nothing that looks finished
        self.journal.execute("BEGIN IMMEDIATE")
        made = self.journal.execute(
            f"INSERT INTO item ({columns}) VALUES (?, ?, ?, ?, ?, ?, ?)",  # noqa: S608  names of our own
            (what, *about),
        )
        os.replace(half, self.copy_of(int(made.lastrowid or 0), about[1]))
        keep_folder(self.folder / "waiting")
        self.journal.execute("COMMIT")
        return int(made.lastrowid or 0)

    def copy_of(self, place: int, name: str, state: str = "waiting") -> Path:
        """Where a copy lies."""
        kept = "".join(letter if letter.isalnum() or letter in "._- " else "_" for letter in name)[-80:]
        return self.folder / state / f"{place:06d}-{kept}"

    def first_waiting(self) -> Any:
        """The next to send; None when nothing waits."""
        self.journal.row_factory = sqlite3.Row
        return self.journal.execute("SELECT * FROM item WHERE state = 'waiting' ORDER BY place LIMIT 1").fetchone()

    def close_item(self, item: Any, state: str, told: str) -> None:
        """Sent or refused. The journal first: a copy that still lies in `waiting` is put away at the next start."""
        self.journal.execute("UPDATE item SET state = ?, told = ? WHERE place = ?", (state, told, item["place"]))
        self.put_away(item["place"], item["name"], state, told)

    def put_away(self, place: int, name: str, state: str, told: str) -> None:
        """Move a copy to where its state belongs."""
        target = self.copy_of(place, name, state)
        if state == "refused":
            target.with_name(target.name + ".why.txt").write_text(told + "\n", encoding="utf-8")
        if self.copy_of(place, name).exists():
            os.replace(self.copy_of(place, name), target)

    def tidy(self) -> None:
        """Finish what a power cut interrupted between journal and folder."""
        for left in (self.folder / "waiting").iterdir():
            number = left.name.partition("-")[0]
            asked = "SELECT name, state, told FROM item WHERE place = ?"
            row = self.journal.execute(asked, (int(number),)).fetchone() if number.isdecimal() else None
            if row and row[1] in ("sent", "refused"):
                self.put_away(int(number), *row)

    def counts(self) -> str:
        """How many are in which state, in words."""
        told = dict(self.journal.execute("SELECT state, count(*) FROM item GROUP BY state").fetchall())
        return " · ".join(f"{told.get(state, 0)} {state}" for state in ("sent", "waiting", "refused"))


class Line:
    """One line that says how things stand, rewritten in place where there is a screen, and in `state.txt`."""

    def __init__(self, spool: Spool) -> None:
        self.spool, self.last = spool, ""

    def say(self, words: str = "") -> None:
        """Say how things stand now."""
        text = f"{self.spool.counts()}{' · ' if words else ''}{words}"
        if text == self.last:
            return
        as_before, self.last = text.endswith(" %") and text[:-6] == self.last[: len(text) - 6], text
        if sys.stdout.isatty():
            print("\r\033[K" + text, end="", flush=True)
        elif not as_before:  # in a log not every per cent
            print(text, flush=True)
        (self.spool.folder / "state.txt").write_text(f"{datetime.now().astimezone().isoformat()} {text}\n", "utf-8")


class Server:
    """The service, reached with this device's token."""

    def __init__(self, address: str, token: str, timeout_s: float = 60.0) -> None:
        self.address, self.token, self.timeout_s = address.rstrip("/"), token, timeout_s
        self.opener = urllib.request.build_opener(NoRedirects)

    def ask(self, path: str, body: Any = None, headers: dict[str, str] | None = None) -> Any:
        """The answer's JSON. RefusedError for the service's own no, NotNowError for everything else that is no yes."""
        request = urllib.request.Request(f"{self.address}/api/v1/device{path}", data=body)  # noqa: S310
        for name, value in {"Authorization": f"Bearer {self.token}", **(headers or {})}.items():
            request.add_header(name, value)
        try:
            with self.opener.open(request, timeout=self.timeout_s) as answer:
                return json.loads(answer.read(1 << 20))
        except urllib.error.HTTPError as error:
            raise self._no(error) from error
        except (OSError, ValueError, urllib.error.URLError) as error:
            raise NotNowError(f"no answer that makes sense ({type(error).__name__}: {error})"[:200]) from error
        except Exception as error:  # a broken answer must not end a watch that should last for days
            raise NotNowError(f"the answer broke off ({type(error).__name__})") from error

    @staticmethod
    def _no(error: urllib.error.HTTPError) -> Exception:
        try:
            told = json.loads(error.read(1 << 16))
            detail, ours = str(told.get("detail", "")), told.get("status") == error.code and "request_id" in told
        except Exception:
            detail, ours = "", False
        if ours and error.code in REFUSALS:
            return RefusedError(f"{error.code}: {detail}")
        if ours and error.code in (401, 403):
            return NotNowError(f"the token is not taken: {detail} Make another on the Devices page and connect again.")
        return NotNowError(f"answer {error.code} {detail}"[:200])

    def send(self, item: Any, copy: Path, say: Callable[[str], None]) -> str:
        """Send one item; the receipt in words. Only an answer with the copy's own SHA-256 and size is a receipt."""
        size, sha256 = item["size"], item["sha256"]
        if item["what"] == "weather":
            headers = {"Content-Type": "application/json"}
            told = self.ask("/weather", copy.read_bytes(), headers)
        else:
            asked = {"file_name": item["name"], "taken_at": item["taken_at"], "sent_at": datetime.now(UTC).isoformat()}
            headers = {"Content-Type": "application/octet-stream", "SHA-256": sha256, "Content-Length": str(size)}
            with copy.open("rb") as body:
                counted = Counted(body, lambda done: say(f"sending {item['name']}, {100 * done // size} %"))
                told = self.ask(f"/pulls?{urllib.parse.urlencode(asked)}", counted, headers)
        if not isinstance(told, dict) or told.get("sha256") != sha256 or told.get("size_bytes") != size:
            raise NotNowError("the answer is no receipt for this file")
        if told.get("note"):
            receipts = copy.parent.parent / "receipts"
            receipts.mkdir(exist_ok=True)
            (receipts / f"{copy.name}.txt").write_bytes(str(told["note"]).encode())
        return f"received {told.get('received_at')} as {told.get('id')}"


class Counted:
    """A body that tells how far it has been read."""

    def __init__(self, body: BinaryIO, tell: Callable[[int], None]) -> None:
        self.body, self.tell, self.done = body, tell, 0

    def read(self, amount: int = -1) -> bytes:
        """As a file does."""
        part = self.body.read(amount)
        self.done += len(part)
        self.tell(self.done)
        return part


def send_waiting(spool: Spool, server: Server, line: Line) -> bool:
    """Send from the front of the queue. True when it is empty; False when the one in front has to wait."""
    while (item := spool.first_waiting()) is not None:
        copy = spool.copy_of(item["place"], item["name"])
        try:
            if not copy.exists():
                raise RefusedError("the copy in the spool is gone; send the file again")
            spool.close_item(item, "sent", server.send(item, copy, line.say))
        except RefusedError as error:
            spool.close_item(item, "refused", str(error))
        except NotNowError as error:
            line.say(f"{item['name']} waits: {error}")
            return False
        line.say()
    return True


def standing_still(folder: Path, seen: dict[Path, Any], still_s: float) -> list[Path]:
    """The folder's files that have not changed for a while, oldest first. `seen`: what was there at the last look."""
    now, still = time.monotonic(), []
    for path in folder.iterdir():
        if path.name.startswith(".") or path.name.lower().endswith(HALF_WRITTEN) or not path.is_file():
            continue
        about = path.stat()
        state = (about.st_size, about.st_mtime_ns)
        if path not in seen or seen[path][0] != state:
            seen[path] = (state, now)
        elif now - seen[path][1] >= still_s:
            still.append((about.st_mtime_ns, path.name, path))
    return [path for _, _, path in sorted(still)]


def take_each(spool: Spool, files: list[Path], left: list[str]) -> list[int]:
    """Take in the files that a person named; `left` gets those that cannot be sent now, and why."""
    taken = []
    for path in files:
        try:
            place, about = spool.take_in(path, insists=True), path.stat()
        except OSError as error:
            left.append(f"{path}: {error.strerror or error}")
            continue
        if place:
            taken.append(place)
        elif not spool.knows(path, about.st_size, about.st_mtime_ns):
            left.append(f"{path}: {'still being written' if about.st_size else 'empty'}; send it when it is whole")
    return taken


def readings_of(asked: argparse.Namespace) -> list[dict[str, Any]]:
    """Weather readings as the service takes them, from a CSV with its field names as headings, or from the command."""
    if asked.now:
        fields = dict(word.partition("=")[::2] for word in asked.now)
        rows = [{"read_at": datetime.now(UTC).isoformat(), **fields}]
    else:
        with open(asked.file, newline="", encoding="utf-8-sig") as table:
            rows = [{name: value for name, value in row.items() if name and value} for row in csv.DictReader(table)]
    texts = ("read_at", "source")
    return [{k: v.strip() if k in texts else float(v) for k, v in row.items()} for row in rows if row.get("read_at")]


def go_on(
    spool: Spool, server: Server, line: Line, look: Callable[[], None], first_pause_s: float, for_ever: bool
) -> None:
    """Look for new things and send what waits, with longer pauses while nothing answers. Ends when all is settled."""
    pause_s, next_try = first_pause_s, 0.0
    while True:
        try:
            look()
        except (OSError, sqlite3.Error, ValueError) as error:
            line.say(f"cannot look: {error}")
        if not spool.be_the_sender():
            line.say("another sender is at work on this spool")
        elif time.monotonic() >= next_try:
            if send_waiting(spool, server, line):
                pause_s = first_pause_s
            else:
                next_try = time.monotonic() + pause_s * random.uniform(0.7, 1.3)  # noqa: S311  not a secret
                pause_s = min(2.0 * pause_s, LONGEST_PAUSE_S)
        if not for_ever and spool.first_waiting() is None:
            return
        time.sleep(min(0.5, first_pause_s))


def settings_of(asked: argparse.Namespace) -> Server:
    """Address and token: from the environment, else from the spool's own settings file."""
    kept = configparser.ConfigParser(interpolation=None)
    kept.read(asked.spool / "settings.ini", encoding="utf-8")
    address = os.environ.get("PULLBOOK_ADDRESS") or kept.get("server", "address", fallback="")
    token = os.environ.get("PULLBOOK_TOKEN") or kept.get("server", "token", fallback="")
    if not address or not token:
        sys.exit("Not connected yet: python cell_sender.py connect ADDRESS TOKEN")
    return Server(address, token)


def connect(asked: argparse.Namespace) -> None:
    """Keep address and token once the service has answered to them."""
    told = Server(asked.address, asked.token).ask("")
    kept = configparser.ConfigParser(interpolation=None)
    kept["server"] = {"address": asked.address, "token": asked.token}
    place = asked.spool / "settings.ini"
    with open(os.open(place, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w", encoding="utf-8") as file:
        kept.write(file)
    print(f"Connected as {told['name']}, cell {told['cell_name']}. Kept in {place}.")


def run(asked: argparse.Namespace) -> int:
    """Do what was asked; 1 when something was refused."""
    spool = Spool(asked.spool)
    if asked.command == "state":
        print(spool.counts())
        return 0
    if asked.command == "connect":
        connect(asked)
        return 0
    if spool.be_the_sender():
        spool.tidy()
    server, line = settings_of(asked), Line(spool)
    seen: dict[Path, Any] = {}
    taken: list[int] = []
    left: list[str] = []

    def look() -> None:
        if asked.command == "send":
            files, asked.files = asked.files, []
            taken.extend(take_each(spool, files, left))
        elif asked.command == "watch":
            taken.extend(
                place for path in standing_still(asked.folder, seen, asked.still) if (place := spool.take_in(path))
            )
        elif not taken or asked.follow:
            taken.extend(place for one in readings_of(asked) if (place := spool.take_in_reading(one, str(asked.file))))

    for_ever = asked.command == "watch" or getattr(asked, "follow", False)
    go_on(spool, server, line, look, asked.pause, for_ever)
    refused = spool.journal.execute("SELECT place, name, told FROM item WHERE state = 'refused'").fetchall()
    for place, name, told in refused:
        if place in taken:
            print(f"\nrefused: {name}: {told}\n  its copy and the reason lie in {spool.folder / 'refused'}")
    for words in left:
        print(f"\nnot sent: {words}")
    return 1 if left or any(place in taken for place, _, _ in refused) else 0


def parse(words: list[str]) -> argparse.Namespace:
    """The command as it was typed."""
    home = Path(os.environ.get("LOCALAPPDATA") or Path.home()) / "pullbook-sender"
    parser = argparse.ArgumentParser(description="Sends pull files and weather from a cell's computer.")
    parser.add_argument("--spool", type=Path, default=home, help=f"where copies and the journal lie; else {home}")
    parser.add_argument("--pause", type=float, default=1.0, help="seconds before the next try; doubles up to a minute")
    commands = parser.add_subparsers(dest="command", required=True)
    connecting = commands.add_parser("connect", help="say once where to send to")
    connecting.add_argument("address")
    connecting.add_argument("token")
    commands.add_parser("send", help="send these files").add_argument("files", nargs="+", type=Path)
    watching = commands.add_parser("watch", help="send what appears in a folder")
    watching.add_argument("folder", type=Path)
    watching.add_argument("--still", type=float, default=3.0, help="seconds a file must stand still before it is sent")
    weather = commands.add_parser("weather", help="send weather readings")
    weather.add_argument("file", nargs="?", type=Path, help="a CSV with read_at, air_temperature_c, … as headings")
    weather.add_argument("--now", nargs="+", metavar="NAME=VALUE", help="one reading, taken now")
    weather.add_argument("--follow", action="store_true", help="go on as the file grows")
    commands.add_parser("state", help="say what was sent, what waits, what was refused")
    asked = parser.parse_args(words)
    if asked.command == "weather" and bool(asked.file) == bool(asked.now):
        parser.error("weather needs either a file or --now")
    asked.spool.mkdir(parents=True, exist_ok=True)
    return asked


if __name__ == "__main__":
    try:
        sys.exit(run(parse(sys.argv[1:])))
    except KeyboardInterrupt:
        sys.exit(130)
    except (NotNowError, RefusedError) as error:
        sys.exit(str(error))
