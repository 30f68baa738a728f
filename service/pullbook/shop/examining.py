"""Examining: every look at the chain and the records, one after another, and what it comes to."""

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import field
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.db.chain import ChainKey
from pullbook.late_methods import dataclass
from pullbook.shop.anchoring import Anchor, Paper, PaperFound, held_against, papers_found
from pullbook.shop.rehashing import Share, files
from pullbook.shop.sealing import plain
from pullbook.shop.verifying import Finding, Republished, Seen, audit_trail, publications, records, walk
from pullbook.shop.vouching import heads, keys, look_at_trail


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is to be looked at. `accepted`: entries whose findings are known and explained, as after a wrong clock."""

    share: Share = field(default_factory=Share)
    after: str = ""  # files beyond this hash only: where a look that broke off goes on
    with_columns: bool = False
    anchors: Sequence[Anchor] = ()
    accepted: Collection[int] = ()
    weather_stale_minutes: int = 60
    key_in_file: str | None = None  # the id of the key that there is to sign with
    papers: Sequence[Paper] = ()  # fingerprints typed from paper


@dataclass
class Report:
    """What was found. `anchored_to`: up to this entry something kept outside vouches for the chain; `signed_to`: up to
    this one a day's head in the database does, which whoever has the key could have made anew."""

    entries: int = 0
    sound_to: int = 0
    anchors: int = 0
    anchored_to: int = 0
    signed_to: int = 0
    files_looked_at: int = 0
    papers: list[PaperFound] = field(default_factory=list)
    published: Republished = field(default_factory=Republished)
    findings: list[Finding] = field(default_factory=list)
    accepted: list[Finding] = field(default_factory=list)

    @property
    def ranges(self) -> list[tuple[str, int, int]]:
        """Which entries are vouched for by what, without gaps: (by what, first, last)."""
        marks = (
            ("outside", self.anchored_to),
            ("signed head", max(self.anchored_to, self.signed_to)),
            ("nothing", self.entries),
        )
        found, first = [], 1
        for by, last in marks:
            if last >= first:
                found.append((by, first, last))
                first = last + 1
        return found

    def told(self) -> dict[str, Any]:
        """As JSON."""
        names = ("entries", "sound_to", "anchors", "anchored_to", "signed_to", "files_looked_at")
        return {
            **{name: getattr(self, name) for name in names},
            "published": self.published.checked,
            "amended": self.published.amended,
            "vouched_for": [{"by": by, "first": first, "last": last} for by, first, last in self.ranges],
            "fingerprints": [
                {
                    "typed": one.typed,
                    "entry": one.number,
                    "kind": one.kind,
                    "record": one.record_id,
                    "entered_at": plain(one.entered_at),
                }
                for one in self.papers
            ],
            "findings": [_told(one) for one in self.findings],
            "accepted": [_told(one) for one in self.accepted],
        }


def _told(one: Finding) -> dict[str, Any]:
    return {"entry": one.entry, "kind": one.kind, "record": one.record_id, "what": one.what}


def examine(
    session: Session,
    now: datetime,
    wanted: Wanted,
    say: Callable[[str], None],
    done: Callable[[int, int, str, list[Finding]], None] = lambda *_: None,
) -> Report:
    """Look at everything. `say` is told what is looked at; `done` how far the files are, and what was found in them."""
    report, seen = Report(), Seen()

    def note(findings: Iterator[Finding]) -> None:
        for one in findings:
            (report.accepted if one.entry in wanted.accepted else report.findings).append(one)

    say("the chain")
    note(walk(session, seen, now))
    say("records")
    note(records(session, seen))
    say("signed heads and the audit trail")
    look_at_trail(session, seen, [one.trail[0] for one in wanted.anchors if one.trail is not None])
    note(keys(session, seen, wanted.key_in_file))
    note(heads(session, seen, now))
    note(audit_trail(session))
    say("what was published")
    note(publications(session, seen, report.published, wanted.weather_stale_minutes))
    public = {row.id: row.public_key for row in session.execute(select(ChainKey.id, ChainKey.public_key))}
    findings, report.anchored_to = held_against(wanted.anchors, seen, public)
    note(iter(findings))
    findings, report.papers = papers_found(wanted.papers, seen)
    note(iter(findings))
    vouched = [one.number for one in report.papers if one.number <= seen.sound_to]
    report.anchored_to = max([report.anchored_to, *vouched])
    report.anchors = len(wanted.anchors) + len(wanted.papers)
    report.entries, report.sound_to = seen.last, seen.sound_to
    report.signed_to = min(seen.signed_to, seen.sound_to)
    in_files: list[Finding] = []

    def progress(place: int, total: int, name: str) -> None:
        report.files_looked_at = place
        say(f"files: {place} of {total}")
        done(place, total, name, in_files)

    for one in files(session, seen, wanted.share, wanted.after, wanted.with_columns, progress):
        in_files.append(one)
        note(iter([one]))
    return report
