"""Anchoring: receipts and heads that somebody kept where the server cannot reach, held against the chain."""

import base64
import binascii
import json
import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any

from pullbook.late_methods import dataclass
from pullbook.shop.attesting import head_text, is_signed_by, receipt_text
from pullbook.shop.fingerprinting import read_fingerprint
from pullbook.shop.verifying import Finding, Seen
from pullbook.shop.vouching import trail_fault

_NOTE = re.compile(
    r"^(pullbook (?:receipt|head) [12]\n(?:[a-z0-9]+ [^\n]*\n)+)(?:\n— pullbook ([A-Za-z0-9+/=]+)(?:\n|$))?",
    re.MULTILINE,
)


@dataclass(frozen=True, slots=True)
class Anchor:
    """What was kept outside: that the chain's head after so many entries was this."""

    said_by: str  # the file, and what of it
    text: str
    number: int
    head: str
    key_id: str | None
    signature: str | None
    trail: tuple[int, str] | None = None  # where the audit trail stood then


def anchors_in(name: str, content: str) -> list[Anchor]:
    """Every receipt and head in a file: signed notes one after another, or JSON as the API answers them."""
    found = [_from_note(name, *match.groups()) for match in _NOTE.finditer(content.replace("\r\n", "\n"))]
    if found:
        return found
    try:
        told = json.loads(content)
    except ValueError:
        return []
    return [anchor for one in _objects(told) for anchor in _from_object(name, one)]


def _from_note(name: str, text: str, told: str | None) -> Anchor:
    lines = dict(line.split(" ", 1) for line in text.rstrip("\n").split("\n")[1:])
    try:
        raw = base64.b64decode(told or "", validate=True)
    except binascii.Error:
        raw = b""
    key_id, signature = (raw[:4].hex(), base64.b64encode(raw[4:]).decode()) if raw else (None, None)
    number = lines.get("entry") or lines.get("entries") or "0"
    trail_entries, _, trail_hash = lines.get("trail", "").partition(" ")
    trail = (int(trail_entries), trail_hash) if trail_entries.isdecimal() else None
    return Anchor(f"{name}, entry {number}", text, int(number), lines.get("head", ""), key_id, signature, trail)


def _objects(told: Any) -> Iterator[Mapping[str, Any]]:
    if isinstance(told, Mapping):
        yield told
        for one in told.values():
            yield from _objects(one)
    elif isinstance(told, Sequence) and not isinstance(told, str):
        for one in told:
            yield from _objects(one)


def _from_object(name: str, one: Mapping[str, Any]) -> Iterator[Anchor]:
    trail = None
    try:
        if "entry_number" in one:
            at = datetime.fromisoformat(one["received_at"])
            number = int(one["entry_number"])
            text = receipt_text(number, at, one["size_bytes"], one["sha256"], one["head"])
        elif "entries" in one and "signed_at" in one:
            number = int(one["entries"])
            if one.get("trail_hash") is not None:
                trail = (int(one["trail_entries"]), str(one["trail_hash"]))
            signed_at = datetime.fromisoformat(one["signed_at"])
            text = head_text(one["day"], number, one["head"], signed_at, trail or (None, None))
        else:
            return
    except (KeyError, TypeError, ValueError):
        return
    yield Anchor(f"{name}, entry {number}", text, number, one["head"], one.get("key_id"), one.get("signature"), trail)


@dataclass(frozen=True, slots=True)
class Paper:
    """A fingerprint as it is printed on a results page: of the head after that publication, without its number."""

    typed: str
    low: str
    high: str


@dataclass(frozen=True, slots=True)
class PaperFound:
    """The entry that a fingerprint is of."""

    typed: str
    number: int
    kind: str
    record_id: str
    entered_at: datetime


def paper_in(typed: str) -> Paper | None:
    """A fingerprint typed from paper; None where it was mistyped or is none."""
    span = read_fingerprint(typed)
    return None if span is None else Paper(typed.strip(), *span)


def papers_found(papers: Sequence[Paper], seen: Seen) -> tuple[list[Finding], list[PaperFound]]:
    """What each fingerprint is of, and those that are of nothing in this chain any more."""
    findings, found = [], []
    for paper in papers:
        rows = [row for row in seen.by_record.values() if paper.low <= row["head"] <= paper.high]
        for row in rows:
            names = ("number", "kind", "record_id", "entered_at")
            found.append(PaperFound(paper.typed, *(row[name] for name in names)))
        if not rows:
            what = "no entry has it: the one it was printed from, or one before that, was cut off or written anew"
            findings.append(Finding(None, "fingerprint", paper.typed, what))
    return findings, found


def held_against(anchors: Sequence[Anchor], seen: Seen, keys: Mapping[str, str]) -> tuple[list[Finding], int]:
    """What the anchors show to be another than it was, and up to which entry they vouch for the chain."""
    findings, good = [], 0
    entries = {row["number"]: row for row in seen.by_record.values()}
    for anchor in sorted(anchors, key=lambda one: one.number):
        what = _fault(anchor, seen, keys) or _other_file(anchor, entries.get(anchor.number))
        if what:
            findings.append(Finding(min(anchor.number, seen.last + 1), "anchor", anchor.said_by, what))
        elif anchor.number <= seen.sound_to:
            good = max(good, anchor.number)
    return findings, good


def _fault(anchor: Anchor, seen: Seen, keys: Mapping[str, str]) -> str:
    if anchor.key_id is not None and anchor.key_id not in keys:
        return f"it is signed by key {anchor.key_id}, which this chain does not know"
    if anchor.key_id is not None and not is_signed_by(keys[anchor.key_id], anchor.text, anchor.signature or ""):
        return "its signature is not over what it says: the copy itself was altered"
    if anchor.number > seen.last:
        return f"it vouches for entry {anchor.number}, and the chain ends at {seen.last}: entries are cut off"
    if seen.heads.get(anchor.number) != anchor.head:
        return f"entry {anchor.number} is not the one it vouches for: it or one before it was written anew"
    return trail_fault(anchor.trail, seen, "it vouches for")


def _other_file(anchor: Anchor, entry: Mapping[Any, Any] | None) -> str:
    """What a receipt says otherwise of its file than the entry that it names; empty for a head, and where all agree."""
    if entry is None or not anchor.text.startswith("pullbook receipt "):
        return ""
    if anchor.text == receipt_text(*(entry[name] for name in ("number", "at", "size_bytes", "sha256", "head"))):
        return ""
    return f"what it says of its file (received, size, sha256) is not what entry {anchor.number} says"
