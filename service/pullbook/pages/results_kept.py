"""Finished customer's pages, kept in memory for as long as nothing at all was written since they were drawn.

A page is worked out from the records whenever it is asked for; but the records say themselves whether they have moved,
since every change makes an entry in the audit trail. So a page that was drawn at the trail's last entry still holds
while that is the last entry. Nothing is kept on disk, and nothing for more than a minute: what was changed behind the
service's back shows after that.
"""

import threading
import time
from collections import OrderedDict
from collections.abc import Callable

import brotli
from sqlalchemy import func, select
from sqlalchemy.orm import Session
from starlette.requests import Request
from starlette.responses import Response

from pullbook.compression import accepted
from pullbook.db.evidence import AuditEntry
from pullbook.late_methods import dataclass

MOST_PAGES = 64
LONGEST_S = 60.0
_LAST = select(func.max(AuditEntry.number))


@dataclass(frozen=True, slots=True)
class Kept:
    """A finished page, at which entry of the trail it was drawn and when."""

    entry: int
    at: float
    headers: dict[str, str]
    plain: bytes
    packed: bytes  # as most browsers take it, made once

    def answer(self, accept_encoding: str) -> Response:
        """An answer of its own: what stands around the routes adds to its headers."""
        if "br" not in accepted(accept_encoding):
            return Response(self.plain, headers=self.headers)
        return Response(self.packed, headers={**self.headers, "Content-Encoding": "br", "Vary": "Accept-Encoding"})


class KeptPages:
    """Pages by link, each with the entry it was drawn at. Of many who ask for the same at once, one draws."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._pages: OrderedDict[str, Kept] = OrderedDict()
        self._drawing: dict[str, threading.Lock] = {}
        self._lock = threading.Lock()

    def kept(self, session: Session, link_id: str) -> Kept | None:
        """The page of this link where it holds as of now."""
        return self._holding(link_id, last_entry(session))

    def drawn(self, session: Session, link_id: str, draw: Callable[[], Response]) -> Kept:
        """The same, or else what `draw` makes from this very session."""
        # asked before anything is read: what is written meanwhile makes the page too old, never too new
        entry = last_entry(session)
        with self._lock:
            drawing = self._drawing.setdefault(link_id, threading.Lock())
        with drawing:
            return self._holding(link_id, entry) or self._keep(link_id, entry, draw())

    def _holding(self, link_id: str, entry: int) -> Kept | None:
        with self._lock:
            found = self._pages.get(link_id)
        holds = found is not None and found.entry == entry and self._clock() - found.at <= LONGEST_S
        return found if holds else None

    def _keep(self, link_id: str, entry: int, page: Response) -> Kept:
        body = bytes(page.body)
        headers = {name: value for name, value in page.headers.items() if name != "content-length"}
        kept = Kept(entry, self._clock(), headers, body, brotli.compress(body, quality=5))
        with self._lock:
            self._pages[link_id] = kept
            self._pages.move_to_end(link_id)
            while len(self._pages) > MOST_PAGES:
                gone, _ = self._pages.popitem(last=False)
                self._drawing.pop(gone, None)
        return kept


def name_of(request: Request, link_id: str) -> str:
    """What a page is kept under: its link, and all of the request that may draw it otherwise – units and language."""
    asked = request.query_params
    parts = (asked.get("units", ""), asked.get("lang", ""), request.headers.get("accept-language", ""))
    return "\n".join((link_id, *(one[:100] for one in parts)))


def last_entry(session: Session) -> int:
    """The number of the audit trail's last entry; 0 while it is empty."""
    return session.execute(_LAST).scalar_one() or 0
