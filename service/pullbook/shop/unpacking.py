"""Unpacking a stored file into its columns, from the block beside it or, where there is none, from its bytes anew."""

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.db.evidence import ColumnBlock
from pullbook.errors import Invalid
from pullbook.late_methods import dataclass
from pullbook.runfile.block import unpack
from pullbook.runfile.delimited import Header
from pullbook.shop.filing import keep_columns, raw_bytes, read_file


@dataclass(frozen=True, slots=True)
class Columns:
    """A file's own columns: `values` is (columns, rows) in the order of `headers`, NaN where a cell is no number."""

    headers: tuple[Header, ...]
    values: NDArray[np.float64]
    found: dict[str, str]


def columns_of(session: Session, sha256: str) -> Columns | None:
    """All columns of a stored file; None when it could not be parsed when it came."""
    row = session.execute(
        select(ColumnBlock.headers, ColumnBlock.found, ColumnBlock.block).where(ColumnBlock.sha256 == sha256)
    ).one_or_none()
    if row is None:
        return None
    return Columns(headers_of(row.headers), unpack(row.block), row.found)


def headers_of(stored: list[dict[str, str]]) -> tuple[Header, ...]:
    """The headings as the reader gave them."""
    return tuple(Header(header["header"], header["unit"]) for header in stored)


def make_columns(session: Session, sha256: str) -> Columns:
    """Parse the stored bytes again – a newer reader may know better – and keep the columns. Invalid when it cannot."""
    read = read_file(raw_bytes(session, sha256), sha256)
    if read.run is None:
        raise Invalid(f"No channel map helps here, for the file itself cannot be read: {read.unreadable_reason}")
    keep_columns(session, read)
    return Columns(read.run.headers, read.run.values, read.run.found)
