"""A run's columns as one block of bytes, from which any few columns are read without touching the rest."""

import struct
from collections.abc import Sequence

import numpy as np
import zstandard
from numpy.typing import NDArray

_MARK = b"PBCB\x01"  # kind and version of the layout
_COUNTS = struct.Struct("<5sIQ")  # mark, columns, rows; then columns + 1 offsets as uint64, from the end of the offsets
_LEVEL = 1  # smaller and faster than 3 on such numbers
_LARGEST_ROWS = 1 << 26


def pack(values: NDArray[np.float64]) -> bytes:
    """(columns, rows) float64 → bytes: a small header of offsets, then one zstd frame for each column."""
    table = np.ascontiguousarray(values, dtype="<f8")
    if table.ndim != 2:
        raise ValueError(f"a block holds a table of columns and rows, not {table.ndim} dimensions")
    # the checksum turns a damaged block into an error instead of into other numbers
    compressor = zstandard.ZstdCompressor(level=_LEVEL, write_checksum=True)
    frames = [compressor.compress(column.tobytes()) for column in table]
    offsets = np.cumsum([0, *map(len, frames)], dtype="<u8")
    return b"".join((_COUNTS.pack(_MARK, *table.shape), offsets.tobytes(), *frames))


def unpack(block: bytes, wanted: Sequence[int] | None = None) -> NDArray[np.float64]:
    """The `wanted` columns (all, in file order, when None) as float64 of shape (len(wanted), rows).

    Raises ValueError when the block is not one of these or is damaged, or has no such column.
    """
    columns, rows, offsets, start = _opened(block)
    chosen = range(columns) if wanted is None else wanted
    values = np.empty((len(chosen), rows))
    decompressor = zstandard.ZstdDecompressor()
    for place, column in enumerate(chosen):
        if not 0 <= column < columns:
            raise ValueError(f"the block has {columns} columns, none numbered {column}")
        frame = block[start + offsets[column] : start + offsets[column + 1]]
        try:
            # what the frame says of its size is held against the rows before that much memory is taken
            size = zstandard.frame_content_size(frame)
            raw = decompressor.decompress(frame) if size == rows * 8 else b""
        except zstandard.ZstdError as fault:
            raise ValueError(f"column {column} of the block is damaged: {fault}") from None
        if len(raw) != rows * 8:
            raise ValueError(f"column {column} of the block has {size} bytes instead of {rows * 8}")
        values[place] = np.frombuffer(raw, dtype="<f8")
    return values


def _opened(block: bytes) -> tuple[int, int, list[int], int]:
    if len(block) < _COUNTS.size or not block.startswith(_MARK):
        raise ValueError("these bytes are no column block")
    _, columns, rows = _COUNTS.unpack_from(block)
    start = _COUNTS.size + 8 * (columns + 1)
    if len(block) < start or rows > _LARGEST_ROWS:
        raise ValueError("the column block breaks off")
    offsets = np.frombuffer(block, dtype="<u8", count=columns + 1, offset=_COUNTS.size).tolist()
    if offsets != sorted(offsets) or start + offsets[-1] != len(block):
        raise ValueError("the column block is damaged or breaks off")
    return columns, rows, offsets, start
