"""A few typical files as filing would keep them, for many pulls to share."""

import hashlib
from dataclasses import dataclass
from typing import Any

from pullbook.shop.filing import read_file
from tests.bench.typical_pull import typical_file

DIFFERENT = 12


@dataclass(frozen=True)
class SharedFile:
    """One file's rows, but for when it came."""

    raw: tuple[str, int, bytes]
    columns: tuple[Any, ...]


def shared_files(different: int = DIFFERENT) -> tuple[list[SharedFile], list[dict[str, str]]]:
    """The files, and the channel map that reads every one of them."""
    made: list[SharedFile] = []
    columns: list[dict[str, str]] = []
    for seed in range(different):
        data = typical_file(seed)
        read = read_file(data, hashlib.sha256(data).hexdigest())
        if read.run is None or read.recognised is None or read.block is None:
            raise RuntimeError(f"the typical file cannot be read: {read.unreadable_reason}")
        columns = columns or [
            {"header": one.header, "quantity": one.quantity, "unit": one.unit} for one in read.recognised.choices
        ]
        headers = [{"header": header.text, "unit": header.unit_text} for header in read.run.headers]
        rows = (read.sha256, read.run.reader, headers, read.run.found, read.run.values.shape[1], read.block)
        made.append(SharedFile((read.sha256, read.size_bytes, read.zstd), rows))
    return made, columns
