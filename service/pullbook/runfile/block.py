"""A run's columns as one block of bytes, from which any few columns are read without touching the rest."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray


def pack(values: NDArray[np.float64]) -> bytes:
    """(columns, rows) float64 → bytes: a small header of offsets, then one zstd frame for each column."""
    raise NotImplementedError


def unpack(block: bytes, wanted: Sequence[int] | None = None) -> NDArray[np.float64]:
    """The `wanted` columns (all, in file order, when None) as float64 of shape (len(wanted), rows).

    Raises ValueError when the block is not one of these or is damaged.
    """
    raise NotImplementedError
