"""Whether what was published still says the same, kept in memory for as long as nothing was written since it was read.

To answer that, all pulls of a link are read and compared: tens of milliseconds to seconds, for a question that anybody
may ask. So an answer holds while the audit trail's last entry is the one at which it was found, and a minute at most.
"""

import threading
import time
from collections import OrderedDict
from collections.abc import Callable

from sqlalchemy.orm import Session

from pullbook.pages.results_kept import LONGEST_S, last_entry
from pullbook.shop.fingerprinting import Checked

MOST_ANSWERS = 1000  # a date or two each


class KeptChecks:
    """Answers by link. One is worked out at a time: whoever asks for many waits, and nobody else does."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._found: OrderedDict[str, tuple[int, float, Checked]] = OrderedDict()
        self._working = threading.Lock()

    def found(self, session: Session, link_id: str, read: Callable[[], Checked]) -> Checked:
        """The answer for this link as of now; `read` finds it from this very session."""
        entry = last_entry(
            session
        )  # before anything is read: what is written meanwhile makes it too old, never too new
        there = self._holding(link_id, entry)
        if there is not None:
            return there
        with self._working:
            there = self._holding(link_id, entry)
            if there is None:
                there = read()
                self._found[link_id] = (entry, self._clock(), there)
                while len(self._found) > MOST_ANSWERS:
                    self._found.popitem(last=False)
            return there

    def _holding(self, link_id: str, entry: int) -> Checked | None:
        kept = self._found.get(link_id)
        return kept[2] if kept is not None and kept[0] == entry and self._clock() - kept[1] <= LONGEST_S else None
