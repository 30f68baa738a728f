"""Verifying: everything that the chain says, held against what stands in the database. Reads only; mends nothing."""

from collections.abc import Iterator, Mapping
from dataclasses import field
from datetime import datetime, timedelta
from typing import Any, cast

from sqlalchemy import Table, select
from sqlalchemy.orm import Session

from pullbook.db.chain import ChainEntry, ChainSalt
from pullbook.db.evidence import AuditDetail, AuditEntry, ResultsLink
from pullbook.db.leaving import Erasure
from pullbook.db.tables import Counter, Ticket
from pullbook.errors import ShopError
from pullbook.late_methods import dataclass
from pullbook.shop.amending import WHY_WORDS, as_far_as, published_of, still_as
from pullbook.shop.auditing import first_broken_entry
from pullbook.shop.chaining import COUNTER, rows_of
from pullbook.shop.erasing import records_about
from pullbook.shop.opening import published_under
from pullbook.shop.publishing import Published
from pullbook.shop.sealing import FIRST_PREVIOUS, KINDS, entry_of, head_of, row_digest, words_digest
from pullbook.shop.tracing import digest_of

CLOCK_SLACK = timedelta(minutes=5)  # requests that overlap are numbered in the order in which they end
_ERASED = select(Erasure.customer_id).distinct()
_ERASED_LETTERS = (
    select(ResultsLink.id).join(Ticket, Ticket.id == ResultsLink.ticket_id).where(Ticket.customer_id.in_(_ERASED))
)
_WITHOUT_DETAIL = (
    select(AuditEntry.number, AuditEntry.record, AuditEntry.record_id)
    .outerjoin(AuditDetail, AuditDetail.number == AuditEntry.number)
    .where(AuditDetail.number.is_(None))
    .order_by(AuditEntry.number)
)
_ENTRY, _SALT = cast("Table", ChainEntry.__table__), cast("Table", ChainSalt.__table__)


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is not as it was: at which entry, of which record, and what of it."""

    entry: int | None
    kind: str
    record_id: str
    what: str

    @property
    def words(self) -> str:
        """As a line of the report."""
        where = f"entry {self.entry}, " if self.entry is not None else ""
        return f"{where}{self.kind} {self.record_id}: {self.what}".replace("  ", " ").replace(" :", ":")


@dataclass
class Seen:
    """What a walk through the chain leaves for the other looks: heads by number, entries by record."""

    heads: dict[int, str] = field(default_factory=lambda: {0: FIRST_PREVIOUS})
    by_record: dict[tuple[str, str], Mapping[Any, Any]] = field(default_factory=dict)
    sound_to: int = 0  # every entry up to this one follows from the one before it
    signed_to: int = 0  # a day's head signs every entry up to this one
    trail_last: int = 0  # the audit trail's last entry
    trail: dict[int, str] = field(default_factory=dict)  # its hashes, of those that heads and anchors are of

    @property
    def last(self) -> int:
        """The number of the last entry there is."""
        return max(self.heads)


def walk(session: Session, seen: Seen, now: datetime) -> Iterator[Finding]:
    """Every entry in order: its number, what it follows from, its own hash, and the clock."""
    previous, expected, latest, sound = FIRST_PREVIOUS, 0, None, True
    for row in session.execute(select(_ENTRY).order_by(_ENTRY.c.number)).mappings():
        number = row["number"]
        expected += 1
        seen.heads[number] = row["head"]
        seen.by_record[row["kind"], row["record_id"]] = row
        faults = list(_faults(row, previous, expected))
        if latest is not None and row["entered_at"] < latest - CLOCK_SLACK:
            faults.append(f"the clock was set back: entered at {_at(row)}, after one of {latest:%Y-%m-%d %H:%M:%S} UTC")
        if row["entered_at"] > now + CLOCK_SLACK:
            faults.append(f"it was entered at {_at(row)}, which is still to come")
        for what in faults:
            yield Finding(number, row["kind"], row["record_id"], what)
        sound = sound and not faults
        seen.sound_to = number if sound else seen.sound_to
        expected, previous = number, row["head"]
        latest = row["entered_at"] if latest is None else max(latest, row["entered_at"])
    given_out = session.execute(select(Counter.last).where(Counter.name == COUNTER)).scalar() or 0
    if given_out != seen.last:
        what = f"{given_out} numbers were given out and the last entry is {seen.last}: entries are cut off or put in"
        yield Finding(min(given_out, seen.last) + 1, "chain", "", what)


def _faults(row: Mapping[Any, Any], previous: str, expected: int) -> Iterator[str]:
    if row["number"] != expected:
        yield f"entry {expected} is missing before it"
    elif row["previous"] != previous:
        yield "it does not follow from the entry before it"
    if row["head"] != head_of(entry_of(row)):
        yield "what it says is not what its hash is of"


def _at(row: Mapping[Any, Any]) -> str:
    return f"{row['entered_at']:%Y-%m-%d %H:%M:%S} UTC"


def records(session: Session, seen: Seen) -> Iterator[Finding]:
    """Every record against its entry: calibrations, readings, channel maps, publications, what is said of files."""
    salts: dict[int, str] = {row.number: row.salt for row in session.execute(select(_SALT))}
    erased = {("published", link_id) for link_id in session.scalars(_ERASED_LETTERS)}
    missing = dict(seen.by_record)
    heads_entered = any(kind == "signed head" for kind, _ in missing)
    for kind in KINDS:
        for row in rows_of(session, kind):
            entry = missing.pop((kind, row["id"]), None)
            if entry is None and kind == "signed head" and not heads_entered:
                continue  # from before heads had entries of their own; the next one takes them in
            if entry is None:
                yield Finding(None, kind, row["id"], "it stands in no entry: it was put in past the service")
                continue
            may_be_gone = (kind, row["id"]) in erased
            for what in _differs(kind, row, entry, salts.get(entry["number"]), may_be_gone):
                yield Finding(entry["number"], kind, row["id"], what)
    for (kind, record_id), entry in missing.items():
        what = "the record is gone" if kind in KINDS else "this version knows no such kind of entry"
        yield Finding(entry["number"], kind, record_id, what)


def _differs(
    kind: str, row: Mapping[str, Any], entry: Mapping[Any, Any], salt: str | None, may_be_gone: bool
) -> Iterator[str]:
    if KINDS[kind].file and row["sha256"] != entry["sha256"]:
        yield f"it names file {row['sha256']}, and the entry {entry['sha256']}"
    if row_digest(kind, row) != entry["row_digest"]:
        yield f"what is on record is not what was entered ({', '.join(KINDS[kind].columns)})"
    told = words_digest(kind, row, salt or "")
    if salt is None and entry["words_digest"] is not None and told is None and may_be_gone:
        return  # words and salt went together when the person was erased
    if told != entry["words_digest"]:
        yield f"its words are not those that were entered ({', '.join(KINDS[kind].words)})"


def audit_trail(session: Session) -> Iterator[Finding]:
    """The trail of who did what, which is a chain of its own; before and after may be gone for the erased alone."""
    broken = first_broken_entry(session)
    if broken is not None:
        yield Finding(None, "audit trail", str(broken), "its entry of this number does not follow, or was cut off")
    without = session.execute(_WITHOUT_DETAIL).all()
    erased = set().union(*(records_about(session, one) for one in session.scalars(_ERASED))) if without else set()
    for row in without:
        # photos are dropped whole with whom they are of, or after their term: nothing is left to tell whose they were
        if row.record != "photo" and row.record_id not in erased:
            what = "what was before and after it is gone, and nobody it is about was erased"
            yield Finding(None, "audit trail", str(row.number), what)


@dataclass
class Republished:
    """What reading publications anew came to."""

    checked: int = 0
    amended: list[str] = field(default_factory=list)


def publications(session: Session, seen: Seen, told: Republished, weather_stale_minutes: int) -> Iterator[Finding]:
    """Every publication's digest against what it is of, and read anew by the same code as the customer's page.

    Figures that moved because a record behind them was superseded are an amendment and no finding: the customer's page
    says so too. Figures that moved with nothing superseded are one.
    """
    erased = set(session.scalars(_ERASED_LETTERS))
    for row in session.scalars(select(ResultsLink).order_by(ResultsLink.id)):
        told.checked += 1
        entry = seen.by_record.get(("published", row.id), {}).get("number")
        if digest_of(row.published) != row.digest:
            yield Finding(entry, "published", row.id, "its digest is not of what was published")
            continue
        try:
            shown = published_under(session, row, weather_stale_minutes)
        except (ShopError, ValueError) as error:
            yield Finding(entry, "published", row.id, f"it cannot be read any more: {error}")
            continue
        was = cast("dict[str, Any]", row.published)
        now = as_far_as(was, published_of(shown.comparison))
        if still_as(was, now):
            continue
        if all(_moved_alone(was["pulls"][one], now["pulls"].get(one)) for one in was["pulls"]) and (
            was["method_version"] == now["method_version"]
        ):
            yield Finding(entry, "published", row.id, "the same records give other figures now")
        if row.id not in erased:  # of the erased the trail has nothing left to tell
            for what in _untold(shown):
                yield Finding(entry, "published", row.id, what)
        told.amended.append(row.id)


def _moved_alone(was: Mapping[str, Any], now: Mapping[str, Any] | None) -> bool:
    """Whether nothing that the figures are made from is another than it was."""
    if now is None:
        return False
    return all(bool(was.get(name) == now.get(name)) for name in ("inputs", "set_aside", "setup_id"))


def _untold(shown: Published) -> Iterator[str]:
    """Pulls, and what stands behind them, that were changed since without the audit trail telling of it."""
    asked = {reason for change in shown.changes for reason in change.reasons}
    for one in sorted(asked, key=lambda reason: (reason.pull_id, reason.code)):
        if one.at is None and one.code not in ("method", "nothing"):
            yield f"pull {one.pull_id}: {WHY_WORDS[one.code]}, and the audit trail does not tell of it"
