"""How far the demo has come: one line that moves on a terminal, a few plain lines anywhere else."""

import sys
import time
from typing import TextIO

WIDTH = 32


class Progress:
    """Count `total` steps; finish with `done`."""

    def __init__(self, total: int, what: str, out: TextIO | None = None) -> None:
        self.total, self.what, self.count = max(total, 1), what, 0
        self._out = out or sys.stdout
        self._moves = self._out.isatty()
        self._started, self._shown = time.monotonic(), -1

    def step(self) -> None:
        """One more."""
        self.count += 1
        share = 100 * self.count // self.total
        if self._moves and share != self._shown:
            self._shown = share
            filled = WIDTH * self.count // self.total
            self._say(f"\r{self.what} [{'#' * filled}{'.' * (WIDTH - filled)}] {self.count}/{self.total}")
        elif not self._moves and share // 10 != self._shown:
            self._shown = share // 10
            self._say(f"{self.what} {self.count}/{self.total}\n")

    def done(self) -> None:
        """Say how long it took."""
        ended = f"{self.what}: {self.count} in {time.monotonic() - self._started:.0f} s"
        self._say(f"\r{ended:<{WIDTH + len(self.what) + 20}}\n" if self._moves else f"{ended}\n")

    def _say(self, text: str) -> None:
        self._out.write(text)
        self._out.flush()
