"""Samples gathered into blocks on a uniform base: what every fit works on."""

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.measure.curveparts import Array


@dataclass(frozen=True)
class Blocks:
    """`count` blocks, `step_s` apart, of about `rows_each` rows; `time_s` are their middles."""

    time_s: Array
    step_s: float
    rows_each: int
    _own_time_s: Array
    _even: bool

    def mean(self, values: Array) -> Array:
        """Block means of one value a row, brought to the blocks' middles."""
        used = len(self.time_s) * self.rows_each
        own: Array = values[:used].reshape(-1, self.rows_each).mean(axis=1)
        return own if self._even else np.interp(self.time_s, self._own_time_s, own)


def into_blocks(time_s: Array, rows_each: int) -> Blocks:
    """Blocks of whole rows; the last rows that fill no block are left out. Jittered stamps are brought to an even base
    by interpolation between block means, whose own mean stamps are kept."""
    count = len(time_s) // rows_each
    own: Array = time_s[: count * rows_each].reshape(-1, rows_each).mean(axis=1)
    step = float((own[-1] - own[0]) / (count - 1))
    even = own[0] + step * np.arange(count)
    is_even = bool(np.abs(own - even).max() < 1e-4 * step)
    return Blocks(even, step, rows_each, own, is_even)
