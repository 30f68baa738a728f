"""Measurement files as the reference library writes them, for the tests to read."""

from pathlib import Path

import numpy as np
from asammdf import MDF, Signal

TEXTS = {"val_0": 0, "text_0": "neutral", "val_1": 1, "text_1": "first"}


def written(path: Path, *groups: list[Signal], version: str = "4.10", compression: int = 0) -> bytes:
    """Each list of signals is a channel group; compression 0: none, 1: deflate, 2: transposed and deflated."""
    with MDF(version=version) as file:
        for group in groups:
            file.append(group)
        return Path(file.save(path, overwrite=True, compression=compression)).read_bytes()


def two_groups(path: Path, rows: int = 800, version: str = "4.10", compression: int = 0) -> bytes:
    """A roller at 100 Hz with a gear in words, and λ at 10 Hz on stamps of its own with a note in text."""
    fast = np.arange(rows) / 100.0
    slow = np.arange(rows // 10) / 10.0 + 0.003
    roller = [
        Signal(40.0 + 8.0 * fast, fast, name="Roller speed", unit="rad/s"),
        Signal((40.0 + 8.0 * fast) * 5.2 * 30.0 / np.pi, fast, name="Engine speed", unit="rpm"),
        Signal(np.arange(rows) % 2, fast, name="Gear", conversion=TEXTS),
        Signal(np.full(rows, 100, dtype=np.uint8), fast, name="Throttle", unit="%"),
    ]
    mixture = [
        Signal(np.full(rows // 10, 0.9), slow, name="Lambda"),
        Signal(np.array([b"warm"] * (rows // 10)), slow, name="Note", encoding="utf-8"),
    ]
    return written(path, roller, mixture, version=version, compression=compression)
