"""Text logs of a CAN bus on which a car answered diagnostic questions (ISO 15765-4, SAE J1979) → `RawRun`."""

from collections import Counter
from dataclasses import field
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from pullbook.late_methods import dataclass
from pullbook.runfile.can_lines import Frame, frame_of, is_diagnostic
from pullbook.runfile.decoding import as_utf8
from pullbook.runfile.diagnostic_values import MEANINGS, NEGATIVE, POSITIVE, Meaning, parameters_in, values_of
from pullbook.runfile.isotp import Assembler
from pullbook.runfile.not_read import RefusedFile, RunFileError
from pullbook.runfile.raw_run import Header, RawRun

READER = "can-1"
LARGEST_LINES = 2_000_000
LARGEST_CELLS = 16_000_000  # 128 MB
LOOKED_AT = 400  # lines that are looked at to tell what a file is
_DAY_S = 86_400


@dataclass(slots=True)
class _Column:
    """One quantity from one sender as it was answered, in the order of the log."""

    meaning: Meaning
    number: int
    time_s: list[float] = field(default_factory=list)
    values: list[float] = field(default_factory=list)


@dataclass(slots=True)
class _Heard:
    """Everything that was heard on the bus."""

    columns: dict[tuple[int, str], _Column] = field(default_factory=dict)
    counts: Counter[str] = field(default_factory=Counter)
    unread: set[int] = field(default_factory=set)
    began: str = ""


def looks_like_frames(text: bytes) -> bool:
    """Is this UTF-8 text a CAN log? Nearly all of its first lines that are no comments state frames, and some of them
    in the form `identifier#data` or of a diagnostic address."""
    frames, others, sure = 0, 0, False
    for line in text[: LOOKED_AT * 400].decode("utf-8", "ignore").split("\n")[:LOOKED_AT]:
        frame = frame_of(line)
        if frame is not None:
            frames += 1
            sure = sure or "#" in line or is_diagnostic(frame.identifier, frame.extended)
        elif line.strip() and frames:  # what stands above the first frame is a heading
            others += 1
    return sure and others <= frames // 10


def read_can_log(data: bytes) -> RawRun:
    """Read a whole log.

    One row for every stamp at which anything was answered, blank where a quantity was not. A value bears the stamp of
    its answer's first frame, counted from the log's first diagnostic frame. Several senders: the first that gives an
    engine speed gives the headings that are understood; what another says of the same stands under its address.
    Raises `RefusedFile` beyond a cap, `RunFileError` where no answer is in it that is read here.
    """
    text, encoding = as_utf8(data)
    if text.count(b"\n") > LARGEST_LINES:
        raise RefusedFile(f"The log has more than {LARGEST_LINES} lines, the most that are read.")
    heard = _hear(text.decode("utf-8").split("\n"))
    if not heard.columns:
        reason = "This is a CAN log, and nothing in it answers a diagnostic question that is read here"
        raise RunFileError(
            f"{reason} (mode 01 from 7E8 to 7EF or 18DAF1xx; {_counted(heard.counts) or 'no diagnostic frame at all'})."
        )
    headers, values = _table(heard)
    found = {
        "kind": "text CAN log with diagnostic answers (ISO 15765-4, SAE J1979)",
        "encoding": encoding,
        "time 0 is": f"{heard.began} s in the log",
        "senders": ", ".join(f"{sender:X}" for sender in sorted({sender for sender, _ in heard.columns})),
        **{what: str(count) for what, count in sorted(heard.counts.items()) if count},
    }
    if heard.unread:
        found["parameters not read"] = ", ".join(f"{number:02X}" for number in sorted(heard.unread))
    return RawRun(headers, values, found, READER)


def is_answer(frame: Frame) -> bool:
    """From an address that answers: 7E8 to 7EF, or 18DAF1xx."""
    if frame.extended:
        return frame.identifier >> 8 == 0x18DAF1
    return 0x7E8 <= frame.identifier <= 0x7EF


def _hear(lines: list[str]) -> _Heard:
    heard, senders = _Heard(), dict[int, Assembler]()
    first, days, last = None, 0, Decimal(0)
    for line in lines:
        frame = frame_of(line) if _may_be_diagnostic(line) else None
        if frame is None or not is_diagnostic(frame.identifier, frame.extended):
            continue
        stamp = Decimal(frame.time_text)
        if first is None:
            first, heard.began = stamp, frame.time_text
        elif ":" in line and last - stamp > _DAY_S // 2:  # a clock that passed midnight
            days += 1
        last = stamp
        if not is_answer(frame):
            heard.counts["requests"] += 1
            continue
        heard.counts["answer frames"] += 1
        elapsed_s = float(stamp - first + days * _DAY_S)
        message = senders.setdefault(frame.identifier, Assembler()).feed(elapsed_s, frame.data)
        if message is not None:
            _take(heard, frame.identifier, message.time_s, message.payload)
    for assembler in senders.values():
        assembler.end()
        heard.counts["frames lost within an answer"] += assembler.lost_frames
        heard.counts["answers of several frames that broke off"] += assembler.broken_messages
        heard.counts["frames that belong to nothing"] += assembler.stray_frames
    return heard


def _may_be_diagnostic(line: str) -> bool:
    """One quick look that spares most lines of a busy bus from being taken apart."""
    return "7E" in line or "7e" in line or "7DF" in line or "18D" in line or "18d" in line


def _take(heard: _Heard, sender: int, time_s: float, payload: bytes) -> None:
    if payload[0] == NEGATIVE:
        heard.counts["negative answers"] += 1
        return
    if payload[0] != POSITIVE:
        heard.counts["answers to other questions"] += 1
        return
    for number, data in parameters_in(payload):
        for meaning, value in values_of(number, data) if data is not None else ():
            column = heard.columns.setdefault((sender, meaning.name), _Column(meaning, number))
            column.time_s.append(time_s)
            column.values.append(value)
        if data is None:
            heard.counts["answers that could not be taken apart to their end"] += 1
        if number not in MEANINGS:
            heard.unread.add(number)


def _table(heard: _Heard) -> tuple[tuple[Header, ...], NDArray[np.float64]]:
    columns = _in_order(heard)
    stamps = np.unique(np.concatenate([np.array(column.time_s) for _, column in columns]))
    if stamps.size * (len(columns) + 1) > LARGEST_CELLS:
        raise RefusedFile(f"The log's answers would fill more than {LARGEST_CELLS} cells, the most that are kept.")
    values = np.full((len(columns) + 1, stamps.size), np.nan)
    values[0] = stamps
    headers, taken = [Header("Time [s]", "s")], set[str]()
    for row, (sender, column) in zip(values[1:], columns, strict=True):
        row[np.searchsorted(stamps, column.time_s)] = column.values
        meaning = column.meaning
        heading = meaning.heading
        if heading in taken:  # nobody is to guess which of two is meant: the second stands under its address
            heading = f"{sender:X} answer {column.number:02X} {meaning.name.rpartition('_')[2]}"
        taken.add(heading)
        headers.append(Header(f"{heading} [{meaning.unit}]" if meaning.unit else heading, meaning.unit))
    return tuple(headers), values


def _in_order(heard: _Heard) -> list[tuple[int, _Column]]:
    """The columns of the sender with the engine speed first, and of each sender those of best rank first."""
    engines = [sender for sender, name in heard.columns if name == "engine_speed"]
    first = min(engines) if engines else min(sender for sender, _ in heard.columns)
    order = sorted(
        heard.columns.items(),
        key=lambda one: (one[0][0] != first, one[0][0], one[1].meaning.rank, one[1].number, one[0][1]),
    )
    return [(sender, column) for (sender, _), column in order]


def _counted(counts: Counter[str]) -> str:
    return ", ".join(f"{count} {what}" for what, count in sorted(counts.items()) if count)
