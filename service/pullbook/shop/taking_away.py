"""Taking numbers away: named columns with units, and what was said of them, as CSV or Parquet bytes.

CSV: comment lines `# word: what is said` first, one heading line `title [unit]`, then rows. Lines end in CR LF
(RFC 4180), UTF-8 without a byte-order mark, decimal point, an empty cell where there is no value. A number has as few
figures as give exactly the same float64 back. The comment line `names` gives the columns' identifiers in order.

Parquet: float64 and UTF-8 columns under their identifiers, null where there is no value. The same words are the file's
key-value metadata. Each column's own metadata holds `title` and `unit`; the file's `columns` says it again as JSON, for
readers that do not show the columns' own.
"""

import json
import re
import struct
from collections.abc import Iterator, Sequence
from io import BytesIO
from math import isfinite
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pullbook.late_methods import dataclass

CSV_TYPE = "text/csv; charset=utf-8"
PARQUET_TYPE = "application/vnd.apache.parquet"
_ENDS_A_CELL = re.compile(r'[\x00-\x1f\x7f,;|"]+')
_FORMULA = ("=", "+", "-", "@")
_MARK = b"PAR1"


@dataclass(frozen=True)
class NamedColumn:
    """One column. `name`: an identifier with its unit (`power_w`); `title` and `unit`: as people read them.

    `unit` is empty where there is none. `values`: float64, NaN where there is none, or text.
    """

    name: str
    title: str
    unit: str
    values: NDArray[np.float64] | Sequence[str]

    @property
    def is_text(self) -> bool:
        """Whether it holds words instead of numbers."""
        return not isinstance(self.values, np.ndarray)

    @property
    def heading(self) -> str:
        """The title with its unit in brackets."""
        return f"{self.title} [{self.unit}]" if self.unit else self.title


@dataclass(frozen=True)
class TakenAway:
    """A table on its way out: `told` are pairs of a word and what is said under it, in the order they are written."""

    told: tuple[tuple[str, str], ...]
    columns: tuple[NamedColumn, ...]

    def __post_init__(self) -> None:
        """ValueError where columns differ in length or share a name."""
        if len({len(column.values) for column in self.columns}) != 1:
            raise ValueError("a table to be taken away needs columns, all of one length")
        names = [column.name for column in self.columns]
        if len(set(names)) != len(names):
            raise ValueError(f"two columns share a name among {', '.join(names)}")


def csv_bytes(table: TakenAway) -> bytes:
    """The table as CSV. No cell begins a formula: text that would is led by an apostrophe."""
    names = " ".join(column.name for column in table.columns)
    lines = [f"# {_plain(word)}: {_plain(said)}" for word, said in (*table.told, ("names", names))]
    lines.append(",".join(_text_cell(column.heading) for column in table.columns))
    lines.extend(map(",".join, zip(*(_cells(column) for column in table.columns), strict=True)))
    return ("\r\n".join(lines) + "\r\n").encode()


def _cells(column: NamedColumn) -> list[str]:
    if isinstance(column.values, np.ndarray):
        return [repr(value).removesuffix(".0") if isfinite(value) else "" for value in column.values.tolist()]
    return [_text_cell(text) for text in column.values]


def _text_cell(text: str) -> str:
    safe = "'" + text if text.lstrip().startswith(_FORMULA) else text
    return '"' + safe.replace('"', '""') + '"' if _ENDS_A_CELL.search(safe) or safe != safe.strip() else safe


def _plain(text: str) -> str:
    """Words inside a comment line: nothing in them ends a cell or a line, so that no cell of it can be a formula."""
    return " ".join(_ENDS_A_CELL.sub(" ", text).split())


def parquet_bytes(table: TakenAway) -> bytes:
    """The table as Parquet, compressed with zstd. The writer is loaded when the first table is taken away."""
    import fastparquet  # noqa: PLC0415 - heavy, and seldom needed
    import pandas  # noqa: PLC0415

    values = {c.name: np.array(c.values, object) if c.is_text else np.asarray(c.values) for c in table.columns}
    frame = pandas.DataFrame({name: pandas.Series(one, dtype=one.dtype) for name, one in values.items()})
    held = _Held()
    fastparquet.write(
        "in memory",
        frame,
        open_with=lambda _path, _mode: held,
        compression="ZSTD",
        has_nulls=True,
        write_index=False,
        object_encoding={column.name: "utf8" for column in table.columns if column.is_text},
        custom_metadata={**dict(table.told), "columns": json.dumps(dict(_described(table)), ensure_ascii=False)},
    )
    return _with_column_words(held.getvalue(), table)


def _described(table: TakenAway) -> Iterator[tuple[str, dict[str, str]]]:
    for column in table.columns:
        yield column.name, {"title": column.title, "unit": column.unit}


def _with_column_words(data: bytes, table: TakenAway) -> bytes:
    """The same file with title and unit in each column's own metadata: the footer is written anew, the data stays."""
    from fastparquet import parquet_thrift  # noqa: PLC0415
    from fastparquet.cencoding import from_buffer  # noqa: PLC0415

    (size,) = struct.unpack("<I", data[-8:-4])
    start = len(data) - 8 - size
    footer: Any = from_buffer(data[start:-8], "FileMetaData")
    described = dict(_described(table))
    for group in footer.row_groups:
        for chunk in group.columns:
            words = described[chunk.meta_data.path_in_schema[0]]
            chunk.meta_data.key_value_metadata = [
                parquet_thrift.KeyValue(key=word, value=said) for word, said in words.items()
            ]
    written = footer.to_bytes()
    return b"".join((data[:start], written, struct.pack("<I", len(written)), _MARK))


class _Held(BytesIO):
    """A file in memory that outlives its closing."""

    def close(self) -> None:
        """Nothing: what was written is still to be read."""
