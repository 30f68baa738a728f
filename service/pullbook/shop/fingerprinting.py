"""Fingerprinting: a head of the chain, short enough to be typed from paper, and what was published under it.

24 letters of base 32 without i, l, o and u: the head's first 110 bits, and ten bits by which a wrong letter or two
letters changed about are noticed. To find another record that has a given fingerprint takes about 2¹¹⁰ tries; two
records that share one could be made on purpose with some 2⁵⁵, which is why receipts and QR codes carry all 256 bits.
"""

import re
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.db.chain import ChainEntry
from pullbook.db.evidence import ResultsLink
from pullbook.late_methods import dataclass
from pullbook.shop.opening import published_under
from pullbook.shop.superseding import replaced_at

BITS, CHECK_BITS, LETTERS = 110, 10, 24
_DIGITS = "0123456789abcdefghjkmnpqrstvwxyz"
_PRIME = 1021  # below 2**10; no single letter and no two neighbours changed about leave the remainder as it was
_MEANT = str.maketrans("ilo", "110")
_WHOLE = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True, slots=True)
class ChainLine:
    """Where results stand in the chain, as their page and their paper say it."""

    entry_number: int
    short: str  # abcd-efgh-…, to be typed
    head: str  # all of it, for a QR code


@dataclass(frozen=True, slots=True)
class Checked:
    """What was published under a fingerprint. `amended`: something behind it changed since, as its page says."""

    published_at: datetime
    amended: bool
    replaced_at: datetime | None  # newer results took its place then


def short_form(head: str) -> str:
    """A head of 64 hexadecimal digits as six groups of four letters."""
    told = int(head, 16) >> 256 - BITS
    number = told << CHECK_BITS | told % _PRIME
    letters = "".join(_DIGITS[number >> 5 * place & 31] for place in range(LETTERS - 1, -1, -1))
    return "-".join(letters[start : start + 4] for start in range(0, LETTERS, 4))


def read_fingerprint(typed: str) -> tuple[str, str] | None:
    """The lowest and the highest head that a fingerprint may be of; None where it was mistyped or is none at all.

    Blanks, dashes and capitals do not matter; i and l are read as 1, o as 0.
    """
    bare = re.sub(r"[\s\-–—.:]", "", typed).lower()
    if _WHOLE.fullmatch(bare):
        return bare, bare
    bare = bare.translate(_MEANT)
    if len(bare) != LETTERS or any(letter not in _DIGITS for letter in bare):
        return None
    number = 0
    for letter in bare:
        number = number << 5 | _DIGITS.index(letter)
    told = number >> CHECK_BITS
    if told % _PRIME != number & (1 << CHECK_BITS) - 1:
        return None
    low = told << 256 - BITS
    return f"{low:064x}", f"{low | (1 << 256 - BITS) - 1:064x}"


def chain_line(session: Session, link_id: str) -> ChainLine | None:
    """What a results page says of its own entry; None for what was published before there was a chain."""
    asked = select(ChainEntry.number, ChainEntry.head).where(
        ChainEntry.kind == "published", ChainEntry.record_id == link_id
    )
    row = session.execute(asked).one_or_none()
    return None if row is None else ChainLine(row.number, short_form(row.head), row.head)


def link_behind(session: Session, typed: str) -> str | None:
    """The id of what was published under a fingerprint; None alike for everything else that the chain may hold."""
    span = read_fingerprint(typed)
    return None if span is None else _published(session, *span)


def checked(session: Session, link_id: str, weather_stale_minutes: int = 60) -> Checked:
    """When this was published and whether it says the same now: reads all its pulls."""
    link = session.get_one(ResultsLink, link_id)
    shown = published_under(session, link, weather_stale_minutes)
    return Checked(link.made_at, bool(shown.changes), replaced_at(session, link.id))


def _published(session: Session, low: str, high: str) -> str | None:
    head = ChainEntry.head
    asked = select(ChainEntry.record_id, head).where(
        ChainEntry.kind == "published", head >= low, head <= high, head.startswith(low[:24])
    )
    found = [row.record_id for row in session.execute(asked) if low <= row.head <= high]
    return found[0] if len(found) == 1 else None
