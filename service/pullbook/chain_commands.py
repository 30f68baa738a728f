"""The commands about what was kept: verify, and chain with its head, keys and export."""

import argparse
import json
import re
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.db.chain import ChainEntry, ChainKey, SignedHead
from pullbook.db.connect import Database, connect
from pullbook.db.schema_state import schema_state
from pullbook.errors import NotReady
from pullbook.settings import MIGRATIONS, Settings
from pullbook.shop.anchoring import Anchor, anchors_in, paper_in
from pullbook.shop.attesting import (
    attest,
    enter_key,
    key_in_force,
    make_key,
    note_of,
    public_line,
    read_key,
    sign_today,
    signer_of,
    text_of_head,
    trusted_signer,
)
from pullbook.shop.examining import Report, Wanted, examine
from pullbook.shop.rehashing import Share
from pullbook.shop.restoring import head_in
from pullbook.shop.sealing import entry_of, plain
from pullbook.shop.verifying import Finding

_PROGRESS_EACH_S = 0.2


def add_chain_commands(commands: Any) -> None:
    """The words that call them."""
    verify = commands.add_parser("verify", help="hold records and files against the chain; reads only, mends nothing")
    verify.add_argument("--share", type=share_of, default=Share(), metavar="K/N", help="only this part of the files")
    verify.add_argument("--columns", action="store_true", help="also read each file again and compare its columns")
    verify.add_argument(
        "--anchors",
        nargs="+",
        default=[],
        metavar="KEPT",
        help="receipts, heads, backups kept elsewhere; or the fingerprint at the foot of a results page",
    )
    verify.add_argument("--state", type=Path, help="where to write how far the files are, to go on from there")
    verify.add_argument("--accept", type=int, nargs="+", default=[], metavar="ENTRY", help="known and explained")
    verify.add_argument("--json", action="store_true", help="say it as JSON")
    verify.set_defaults(run=run_verify)
    chain = commands.add_parser("chain", help="the chain of entries").add_subparsers(required=True, metavar="WHAT")
    chain.add_parser("head", help="sign where the chain stands today, and print it").set_defaults(run=run_head)
    chain.add_parser("key", help="print the public keys").set_defaults(run=run_key)
    new_key = chain.add_parser("new-key", help="make a new key where the old one is lost; the old public one stays")
    new_key.add_argument("--reason", required=True, help="why, for whoever checks later")
    new_key.set_defaults(run=run_new_key)
    export = chain.add_parser("export", help="write every entry, key and head as lines of JSON")
    export.add_argument("--out", type=Path, help="a file; standard output when left out")
    export.set_defaults(run=run_export)


def begin_chain(settings: Settings, database: Database) -> None:
    """At the start of serving: the key is made where the shop never had one, and with its entry the chain takes in what
    was on record before."""
    attest(database, settings.signing_key, datetime.now(UTC))


def key_doubt(settings: Settings, database: Database) -> str | None:
    """Why receipts and heads go unsigned, in words; None where nothing is amiss."""
    path = settings.signing_key
    try:
        there = read_key(path)
    except (NotReady, OSError) as error:
        return str(error)
    with database.reading() as session:
        known = key_in_force(session)
        was_used = there is not None and session.get(ChainKey, there.key_id) is not None
    if known in (None, there.key_id if there else ""):
        return None
    if there is not None:
        # a key that another took the place of signs nothing any more, and `new-key` does not take it in again
        other_way = (
            "move this one, which was used before it, away and make another with `pullbook chain new-key`"
            if was_used
            else "say with `pullbook chain new-key` that this one takes its place"
        )
        return (
            f"the key in {path} is {there.key_id}, and not the shop's, {known}; put that one "
            f"back from a copy, or {other_way}"
        )
    return f"the key that was in {path} is gone; put it back from a copy, or make another with `pullbook chain new-key`"


def share_of(text: str) -> Share:
    """`3/30` as a part of the archive."""
    found = re.fullmatch(r"(\d{1,5})/(\d{1,5})", text)
    if found is None or not 1 <= int(found[1]) <= int(found[2]):
        raise argparse.ArgumentTypeError(f"{text} is no part; 1/30 is the first of thirty")
    return Share(int(found[1]), int(found[2]))


@contextmanager
def records(settings: Settings) -> Iterator[Database]:
    """The database, at this version's schema; NotReady where it is not."""
    with closing(connect(settings.database_url)) as database:
        state = schema_state(database.reader, MIGRATIONS)
        if not state.is_current:
            raise NotReady(state.words)
        yield database


def run_verify(settings: Settings, asked: argparse.Namespace) -> None:
    """Look at everything; NotReady, so that the command fails, where anything is not as it was."""
    papers = {one: paper_in(one) for one in asked.anchors if not Path(one).exists()}
    anchors = [one for name in asked.anchors if papers.get(name) is None for one in _anchors(Path(name))]
    after, before = _kept_state(asked)
    with records(settings) as database, database.reading() as session:
        in_file, unread = _key_in_file(settings)
        wanted = Wanted(
            asked.share,
            after,
            asked.columns,
            anchors,
            asked.accept,
            settings.weather_stale_minutes,
            in_file,
            [one for one in papers.values() if one is not None],
        )
        report = examine(session, datetime.now(UTC), wanted, _Progress().say, _keeper(asked))
    report.findings += [*unread, *before]
    if asked.state is not None and asked.state.exists():
        asked.state.unlink()  # through: the next look begins anew
    print(json.dumps(report.told(), indent=1) if asked.json else _in_words(report, asked))
    if report.findings:
        count = len(report.findings)
        raise NotReady(f"{count} thing{'s' if count > 1 else ''} not as it was; nothing was changed")


def _key_in_file(settings: Settings) -> tuple[str | None, list[Finding]]:
    """The id of the key that there is to sign with, or else what is wrong with its file.

    A file that is gone is no finding; `check` says so.
    """
    try:
        signer = read_key(settings.signing_key)
    except (NotReady, OSError) as error:
        return None, [Finding(None, "key", "", str(error))]
    return signer.key_id if signer else None, []


class _Progress:
    """One line on the terminal that is written over, and nothing where nobody looks."""

    def __init__(self) -> None:
        self.last = 0.0

    def say(self, words: str) -> None:
        if sys.stderr.isatty() and time.monotonic() - self.last > _PROGRESS_EACH_S:
            print(f"\r\x1b[K{words}", end="\r", file=sys.stderr, flush=True)
            self.last = time.monotonic()


def _anchors(path: Path) -> list[Anchor]:
    if not path.exists():
        raise NotReady(f"There is no file {path}, and it is no whole fingerprint: that has 24 letters, as printed.")
    told = head_in(path)
    found = anchors_in(path.name, path.read_text(encoding="utf-8") if told is None else told)
    if not found:
        raise NotReady(f"There is neither a receipt nor a head in {path}.")
    return found


def _kept_state(asked: argparse.Namespace) -> tuple[str, list[Finding]]:
    """Where an earlier look broke off, and what it had found."""
    if asked.state is None or not asked.state.exists():
        return "", []
    told = json.loads(asked.state.read_text(encoding="utf-8"))
    if (told["part"], told["of"], told["columns"]) != (asked.share.part, asked.share.of, asked.columns):
        raise NotReady(f"{asked.state} is of another share; remove it, or ask for {told['part']}/{told['of']} again.")
    return told["after"], [Finding(**one) for one in told["findings"]]


def _keeper(asked: argparse.Namespace) -> Any:
    _, before = _kept_state(asked)

    def keep(_place: int, _total: int, name: str, found: list[Finding]) -> None:
        if asked.state is None:
            return
        told = {"part": asked.share.part, "of": asked.share.of, "columns": asked.columns, "after": name}
        half = asked.state.with_name(asked.state.name + ".half")
        half.write_text(json.dumps({**told, "findings": [asdict(one) for one in [*before, *found]]}), encoding="utf-8")
        half.replace(asked.state)

    return keep


def _in_words(report: Report, asked: argparse.Namespace) -> str:
    files = f"{report.files_looked_at} files" + (
        "" if asked.share.of == 1 else f" (part {asked.share.part} of {asked.share.of})"
    )
    lines = [f"{report.entries} entries, {files}, {report.published.checked} publications looked at."]
    by = {
        "outside": "vouched for by what was kept elsewhere",
        "signed head": "signed in this database only: whoever has it and the key could have written them anew",
        "nothing": "not signed yet",
    }
    lines += [f"Entries {first} to {last}: {by[who]}." for who, first, last in report.ranges]
    lines += [
        f"Fingerprint {one.typed} is of entry {one.number}, {one.kind} {one.record_id}, entered at "
        f"{one.entered_at:%Y-%m-%d %H:%M} UTC; it vouches for every entry up to that one."
        for one in report.papers
    ]
    amended = len(report.published.amended)
    if amended:
        named = ", ".join(report.published.amended)
        lines.append(f"{amended} of what was published is read otherwise now, and its page says why: {named}.")
    lines += [f"Known and explained: {one.words}" for one in report.accepted]
    lines += [f"NOT AS IT WAS: {one.words}" for one in report.findings] or ["Everything is as it was entered."]
    return "\n".join(lines)


def run_head(settings: Settings, _asked: argparse.Namespace) -> None:
    """Sign today's head if it is not yet, and print the latest as a note to be kept elsewhere."""
    now = datetime.now(UTC)
    with records(settings) as database:
        sign_today(database, signer_of(database, settings.signing_key, now), now)
        with database.reading() as session:
            row = session.scalars(select(SignedHead).order_by(SignedHead.day.desc()).limit(1)).one_or_none()
    if row is None:
        raise NotReady(f"Nothing is signed: the key is not in {settings.signing_key}.")
    print(note_of(text_of_head(row), row.key_id, row.signature), end="")


def run_key(settings: Settings, _asked: argparse.Namespace) -> None:
    """Print every public key, the latest first."""
    with records(settings) as database:
        trusted_signer(database, settings.signing_key, datetime.now(UTC))
        with database.reading() as session:
            for row in session.scalars(select(ChainKey).order_by(ChainKey.made_at.desc(), ChainKey.id)):
                print(public_line(row.public_key), f"since {row.made_at:%Y-%m-%d %H:%M} UTC", row.reason, sep="  ")


def run_new_key(settings: Settings, asked: argparse.Namespace) -> None:
    """Make a new key where the file is gone, or take in the one that was put there; none is ever written over."""
    now = datetime.now(UTC)
    with records(settings) as database:
        signer = read_key(settings.signing_key)
        with database.reading() as session:
            if signer is not None and session.get(ChainKey, signer.key_id) is not None:
                raise NotReady(
                    f"The key in {settings.signing_key} has its entry; move it away first if it is not to be used."
                )
        if signer is None:
            make_key(settings.signing_key)
            signer = read_key(settings.signing_key)
        if signer is not None:
            enter_key(database, signer, now, asked.reason)
            print(public_line(signer.public_key))


def run_export(settings: Settings, asked: argparse.Namespace) -> None:
    """Every key, entry and head, a line each: what the checker that stands alone reads."""
    with records(settings) as database, database.reading() as session:
        if asked.out is None:
            for line in _lines(session):
                print(line)
            return
        with asked.out.open("w", encoding="ascii") as file:
            file.writelines(f"{line}\n" for line in _lines(session))


def _lines(session: Session) -> Iterator[str]:
    def line(told: dict[str, Any]) -> str:
        return json.dumps(told, sort_keys=True, separators=(",", ":"), ensure_ascii=True)

    for key in session.scalars(select(ChainKey).order_by(ChainKey.made_at, ChainKey.id)):
        yield line({"key": key.id, "public_key": key.public_key, "line": public_line(key.public_key)})
    for row in session.execute(select(ChainEntry.__table__).order_by(ChainEntry.number)).mappings():
        yield line({**entry_of(dict(row)), "head": row["head"]})
    for head in session.scalars(select(SignedHead).order_by(SignedHead.day)):
        told = {"day": head.day, "entries": head.entries, "head": head.head, "signed": plain(head.signed_at)}
        trail = {} if head.trail_hash is None else {"trail": f"{head.trail_entries} {head.trail_hash}"}
        yield line({**told, **trail, "key_id": head.key_id, "signature": head.signature})
