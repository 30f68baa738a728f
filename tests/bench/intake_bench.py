"""What the reader costs beside the bare C parse that does the work, and how soon it refuses what is no run file."""

import io
from collections.abc import Iterator

import numpy as np
import pandas as pd

from pullbook.runfile.block import pack, unpack
from pullbook.runfile.delimited import read_delimited
from pullbook.runfile.not_read import RefusedFile, RunFileError
from tests.bench.rows import Row, median_s, medians_s, ms


def measure() -> Iterator[Row]:
    """A typical and a large file in two dialects, four columns out of twelve, and 10 MB of commas."""
    for rows, columns, repeats in ((3000, 12, 60), (60_000, 20, 9)):
        plain, german = pull_text(rows, columns), pull_text(rows, columns, ";", ",")
        works = [
            lambda plain=plain: pd.read_csv(io.BytesIO(plain), dtype=np.float64),
            lambda plain=plain: read_delimited(plain),
            lambda german=german: read_delimited(german),
        ]
        bare, comma, semicolon = medians_s(works, repeats)
        yield Row(f"reading {rows} × {columns}, comma, × the bare parse", comma / bare, 1.5, note=ms(comma))
        yield Row(f"reading {rows} × {columns}, ; and decimal comma, × the bare parse", semicolon / bare, 1.5)
    text = pull_text(3000, 12)
    block = pack(read_delimited(text).values)
    four, parse = medians_s([lambda: unpack(block, [0, 3, 5, 9]), lambda: read_delimited(text)], 60)
    yield Row("unpacking 4 of 12 columns, × reading the text again", four / parse, 0.15, note=ms(four))
    for size in (20_000, 10_000_000):
        commas = b"," * size
        took_s = median_s(lambda commas=commas: refused(commas), 9)
        yield Row(f"refusing {size:,} commas", took_s * 1e3, 10.0, unit="ms")


def refused(data: bytes) -> bool:
    """Whether the reader would not have it, as it should not."""
    try:
        read_delimited(data)
    except (RefusedFile, RunFileError):
        return True
    raise RuntimeError("commas alone were read as a pull")


def pull_text(rows: int, columns: int, delimiter: str = ",", decimal: str = ".") -> bytes:
    """A table of two decimals, three in the time, as loggers write it."""
    random = np.random.default_rng(1)
    names = ["Time [s]", "Roller speed [rev/min]", *(f"Channel {place} [kPa]" for place in range(columns - 2))]
    table = np.column_stack([np.arange(rows) / 200, random.normal(1000, 300, (rows, columns - 1))])
    lines = [
        delimiter.join(f"{value:.2f}" if place else f"{value:.3f}" for place, value in enumerate(row)) for row in table
    ]
    return (delimiter.join(names) + "\n" + "\n".join(lines).replace(".", decimal) + "\n").encode()
