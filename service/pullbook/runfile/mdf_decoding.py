"""Decoding an ASAM MDF 4 file: run as a process of its own by `mdf`, the file on its input, columns on its output.

The answer is one line of JSON – headers and notes, or why the file is refused – and then float64 columns. Declared
sizes are held against the caps before anything is unpacked, and the process itself may only take so much.
"""

import io
import json
import sys
from collections import Counter
from typing import Any

import numpy as np
from numpy.typing import NDArray

MEMORY_BYTES = 1536 * 1024 * 1024  # of addresses; the largest file within the caps takes 0.6 GB
LARGEST_TEMPORARY = 4 * 1024 * 1024
LARGEST_COLUMNS = 512
LARGEST_ROWS = 2_000_000
LARGEST_CELLS = 24_000_000  # 192 MB
LARGEST_RECORDS = 256_000_000  # bytes that all groups say their records have, unpacked
LONGEST_NAME = 200
_TIME = 1  # a master channel's kind: time, and not angle, distance or index

Floats = NDArray[np.float64]
Column = tuple[str, str, Floats, Floats]  # name, unit, stamps in s, values


class TooMuchError(ValueError):
    """Beyond a cap; the text says which."""


def limit_this_process(processor_s: int) -> None:
    """So much memory, time and disk, and no more. Where the system has no such limits the caps alone hold."""
    try:
        import resource  # noqa: PLC0415 - not every system has it
    except ImportError:
        return
    for what, most in (
        (resource.RLIMIT_AS, MEMORY_BYTES),
        (resource.RLIMIT_CPU, processor_s),
        (resource.RLIMIT_FSIZE, LARGEST_TEMPORARY),
        (resource.RLIMIT_CORE, 0),
    ):
        _, hard = resource.getrlimit(what)
        resource.setrlimit(what, (most if hard < 0 else min(most, hard), hard))


def decode(data: bytes) -> tuple[dict[str, Any], Floats]:
    """What is told of the file, and its table (columns, rows) with the time first."""
    from asammdf import MDF  # noqa: PLC0415 - half a second and 90 MB, which importing this module should not cost

    with MDF(io.BytesIO(data)) as file:
        counts: Counter[str] = Counter()
        _hold_the_caps(file)
        columns: list[Column] = []
        for number in range(len(file.groups)):
            columns += _columns_of(file, number, counts)
            if len(columns) >= LARGEST_COLUMNS:
                raise TooMuchError(f"The file has more than {LARGEST_COLUMNS - 1} channels of numbers")
        version = str(file.version)
    if not columns:
        return {"fault": "There is no channel of numbers with a time in this MDF file."}, np.empty((0, 0))
    headers, table = _table(columns)
    told = {what: str(count) for what, count in sorted(counts.items()) if count}
    return {"headers": headers, "found": {"kind": f"ASAM MDF {version}", **told}}, table


def _hold_the_caps(file: Any) -> None:
    """Hold what the groups say of themselves against the caps."""
    cells, said, packed = 0, 0, 0
    for group in file.groups:
        block = group.channel_group
        rows = int(block.cycles_nr)
        if rows > LARGEST_ROWS:
            raise TooMuchError(f"A channel group says that it has {rows} samples; at most {LARGEST_ROWS} are read")
        cells += rows * len(group.channels)
        said += rows * (int(block.samples_byte_nr) + int(block.invalidation_bytes_nr))
        packed += sum(int(info.original_size or 0) for info in group.get_data_blocks())
        if max(said, packed) > LARGEST_RECORDS:
            raise TooMuchError(f"Unpacked, the file would have more than {LARGEST_RECORDS // 1_000_000} MB of records")
    if cells > LARGEST_CELLS:
        raise TooMuchError(f"The channels have {cells} samples together; at most {LARGEST_CELLS} are read")


def _columns_of(file: Any, number: int, counts: Counter[str]) -> list[Column]:
    """The channels of numbers of one group."""
    group = file.groups[number]
    if not group.channel_group.cycles_nr:
        counts["channel groups without samples"] += 1
        return []
    master = file.masters_db.get(number)
    if master is None or group.channels[master].sync_type not in (0, _TIME):
        counts["channel groups without a time, left out"] += 1
        return []
    found: list[Column] = []
    for place in range(len(group.channels)):
        if place == master:
            continue
        signal = file.get(group=number, index=place)
        values = signal.samples
        if values.ndim != 1 or values.dtype.kind not in "fiub":
            counts["channels of text, enumerations or arrays, left out"] += 1
            continue
        if len(values) < group.channel_group.cycles_nr:
            counts["channels with fewer samples than their group says"] += 1
        column = values.astype(np.float64)
        if signal.invalidation_bits is not None:
            column[np.asarray(signal.invalidation_bits, dtype=bool)] = np.nan
        column[~np.isfinite(column)] = np.nan
        found.append((_plain(signal.name), _plain(signal.unit), signal.timestamps.astype(np.float64), column))
    return found


def _table(columns: list[Column]) -> tuple[list[tuple[str, str]], Floats]:
    """One row for every stamp of any channel, blank where a channel has none."""
    stamps = np.unique(np.concatenate([_finite(times) for times in _different(columns)]))
    if stamps.size > LARGEST_ROWS:
        raise TooMuchError(f"The channel groups have {stamps.size} stamps together; at most {LARGEST_ROWS} are read")
    if stamps.size * (len(columns) + 1) > LARGEST_CELLS:
        raise TooMuchError(f"The table would have {stamps.size * (len(columns) + 1)} cells of {LARGEST_CELLS} at most")
    table = np.full((len(columns) + 1, stamps.size), np.nan)
    table[0] = stamps
    headers, taken = [("Time [s]", "s")], {"Time [s]"}
    for row, (name, unit, times, values) in zip(table[1:], columns, strict=True):
        known = np.isfinite(times)
        row[np.searchsorted(stamps, times[known])] = values[known]
        headers.append((_unique(f"{name} [{unit}]" if unit else name, taken), unit))
    return headers, table


def _different(columns: list[Column]) -> list[Floats]:
    """The time bases, each once: the channels of a group share one array's worth of stamps."""
    found: list[Floats] = []
    for _, _, times, _ in columns:
        if not found or not np.array_equal(found[-1], times):
            found.append(times)
    return found


def _finite(times: Floats) -> Floats:
    return times[np.isfinite(times)]


def _unique(text: str, taken: set[str]) -> str:
    heading, count = text, 1
    while heading in taken:
        count += 1
        heading = f"{text} #{count}"
    taken.add(heading)
    return heading


def _plain(text: str) -> str:
    return " ".join("".join(letter if letter.isprintable() else " " for letter in text or "").split())[:LONGEST_NAME]


def main() -> int:
    """0 whenever there is an answer."""
    limit_this_process(int(sys.argv[1]))
    told: dict[str, Any] = {}
    table: Floats = np.empty((0, 0))
    try:
        told, table = decode(sys.stdin.buffer.read())
    except TooMuchError as cap:
        told = {"refused": f"{cap}. Export the channels that are needed over the time that is needed."}
    except MemoryError:
        return 9
    except Exception:  # whatever a library of this depth may raise over a damaged file
        return 1
    sys.stdout.buffer.write(json.dumps(told).encode() + b"\n" + np.ascontiguousarray(table, dtype="<f8").tobytes())
    return 0


if __name__ == "__main__":
    sys.exit(main())
