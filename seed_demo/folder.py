"""The demo's own folder: its database, when it was made, its sign-ins and links. Private to the person who runs it."""

import os
import secrets
import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path

from seed_demo.people import STAFF

try:
    import fcntl
except ImportError:  # a system without it goes unguarded
    fcntl = None  # type: ignore[assignment]

HELD = "held"
WORDS = (
    "amber", "anvil", "basin", "birch", "brass", "cedar", "chalk", "clover", "cobalt", "copper", "delta", "ember",
    "fable", "ferry", "flint", "gable", "ginger", "harbour", "hazel", "heron", "indigo", "ivory", "jasper", "juniper",
    "kettle", "lantern", "larch", "linen", "maple", "marble", "meadow", "nettle", "oatmeal", "olive", "orchard",
    "pebble", "pepper", "quarry", "quince", "raven", "ribbon", "saffron", "sparrow", "tallow", "thistle", "timber",
    "umber", "velvet", "walnut", "willow", "yarrow",
)  # fmt: skip


class DemoError(Exception):
    """The demo cannot go on; the message is for the person at the terminal."""


class Folder:
    """`.demo/` in the checkout, or wherever a test wants it."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.database = path / "pullbook.sqlite3"
        self.sign_ins = path / "sign-ins.txt"
        self.links = path / "links.txt"
        self.began = path / "began.txt"
        self.log = path / "service.log"
        self.service = path / "service.pid"

    def make(self) -> None:
        """There it is, for its owner's eyes only."""
        self.path.mkdir(mode=0o700, parents=True, exist_ok=True)

    @contextmanager
    def held(self) -> Iterator[None]:
        """One demo at a time: two would write the same tickets twice."""
        holder = (self.path / HELD).open("w")
        try:
            _lock(holder.fileno())
        except OSError:
            holder.close()
            raise DemoError(f"A demo is running on {self.path} already; Ctrl-C where it runs stops it.") from None
        with holder:
            yield

    def clear(self) -> None:
        """Start over: everything here is a demo's but the sign that this one runs."""
        for entry in self.path.iterdir():
            if entry.is_dir() and not entry.is_symlink():
                shutil.rmtree(entry)
            elif entry.name != HELD:
                entry.unlink()

    def began_at(self) -> datetime:
        """The instant that the invented year ends on; it stays when the demo is run again."""
        with suppress(OSError, ValueError):
            return datetime.fromisoformat(self.began.read_text().strip())
        now = datetime.now(UTC).replace(microsecond=0)
        _write_private(self.began, now.isoformat() + "\n")
        return now

    def passwords(self) -> dict[str, str]:
        """Sign-in name → password: read back, or made up and on disk before anybody is told them."""
        known = dict(line.split()[1:3] for line in _lines(self.sign_ins) if len(line.split()) == 3)
        missing = [person for person in STAFF if person.sign_in_name not in known]
        if missing:
            known |= {person.sign_in_name: _password() for person in missing}
            lines = [f"{person.role:<11}{person.sign_in_name:<18}{known[person.sign_in_name]}" for person in STAFF]
            _write_private(self.sign_ins, "\n".join(lines) + "\n")
        return known

    def kept_links(self) -> dict[str, str]:
        """Results link id → its path with the token, which the service tells only once."""
        return dict(line.split() for line in _lines(self.links) if len(line.split()) == 2)

    def keep_links(self, links: Mapping[str, str]) -> None:
        """Write them all down."""
        _write_private(self.links, "".join(f"{link_id} {path}\n" for link_id, path in links.items()))


def _password() -> str:
    return "-".join(secrets.choice(WORDS) for _ in range(4)) + f"-{secrets.randbelow(90) + 10}"


def _lines(file: Path) -> list[str]:
    try:
        return file.read_text().splitlines()
    except FileNotFoundError:
        return []


def _write_private(file: Path, text: str) -> None:
    """All of it or the old one, and readable by its owner alone from the first byte."""
    beside = file.with_name(file.name + ".new")
    with open(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w") as out:
        out.write(text)
        out.flush()
        os.fsync(out.fileno())
    beside.replace(file)


def _lock(descriptor: int) -> None:
    if fcntl is not None:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
