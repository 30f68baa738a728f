"""Channels as an ASAM MDF 4.10 file, in the few blocks that the simplest such file has, written one by one.

Blocks lie one after another, each a mark, its length, its links and its figures, all little-endian and on multiples of
eight bytes (ASAM MDF 4.1, base standard; layouts from memory, read back by an outside library in the tests).
"""

import struct
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from seed_demo.shapes import Floats

_FLOAT, _MASTER, _TIME = 4, 2, 1


@dataclass(frozen=True)
class Signal:
    """One channel: its name, its unit, its samples."""

    name: str
    unit: str
    values: Floats


@dataclass(frozen=True)
class Group:
    """Channels that share their stamps."""

    time_s: Floats
    signals: Sequence[Signal]


def mdf_of(started: datetime, groups: Sequence[Group]) -> bytes:
    """The file."""
    writer = _Writer()
    header = writer.block(b"##HD", 6, struct.pack("<QhhBBBBdd", int(started.timestamp() * 1e9), 0, 0, 0, 0, 0, 0, 0, 0))
    history = writer.block(b"##FH", 2, struct.pack("<QhhB3x", int(started.timestamp() * 1e9), 0, 0, 0))
    writer.link(history, 1, writer.text(b"##MD", "<FHcomment><TX>demo</TX></FHcomment>"))
    writer.link(header, 1, history)
    before, place = header, 0
    for group in groups:
        here = _group(writer, group)
        writer.link(before, place, here)
        before, place = here, 0
    return bytes(writer.data)


class _Writer:
    """Blocks one after another; links are filled in when it is known where they lead."""

    def __init__(self) -> None:
        self.data = bytearray(struct.pack("<8s8s8s4xH30xHH", b"MDF     ", b"4.10    ", b"pullbook", 410, 0, 0))

    def block(self, mark: bytes, links: int, figures: bytes) -> int:
        """Append it with empty links; gives where it begins."""
        self.data += bytes(-len(self.data) % 8)
        start, length = len(self.data), 24 + 8 * links + len(figures)
        self.data += struct.pack("<4s4xQQ", mark, length, links) + bytes(8 * links) + figures
        return start

    def text(self, mark: bytes, words: str) -> int:
        """A text block, ended by a zero and filled up."""
        data = words.encode() + b"\0"
        return self.block(mark, 0, data + bytes(-len(data) % 8))

    def link(self, block: int, number: int, to: int) -> None:
        """Let a block's link lead to another block."""
        struct.pack_into("<Q", self.data, block + 24 + 8 * number, to)


def _group(writer: _Writer, group: Group) -> int:
    """A data group with one channel group, its channels and its records."""
    columns = [Signal("time", "s", group.time_s), *group.signals]
    records = np.column_stack([one.values for one in columns]).astype("<f8").tobytes()
    block = writer.block(b"##DG", 4, struct.pack("<B7x", 0))
    count, width = len(group.time_s), 8 * len(columns)
    inner = writer.block(b"##CG", 6, struct.pack("<QQHH4xII", 0, count, 0, 0, width, 0))
    writer.link(block, 1, inner)
    before, place = inner, 1
    for number, one in enumerate(columns):
        here = _channel(writer, one, number)
        writer.link(before, place, here)
        before, place = here, 0
    writer.link(block, 2, writer.block(b"##DT", 0, records))
    return block


def _channel(writer: _Writer, signal: Signal, number: int) -> int:
    kind, sync = (_MASTER, _TIME) if number == 0 else (0, 0)
    figures = struct.pack("<BBBBIIIIBBH6d", kind, sync, _FLOAT, 0, 8 * number, 64, 0, 0, 0, 0, 0, *[0.0] * 6)
    block = writer.block(b"##CN", 8, figures)
    writer.link(block, 2, writer.text(b"##TX", signal.name))
    if signal.unit:
        writer.link(block, 6, writer.text(b"##TX", signal.unit))
    return block
