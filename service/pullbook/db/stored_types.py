"""How values lie in the database: the same Python value from SQLite and PostgreSQL alike."""

import os
import secrets
import threading
import time
from datetime import UTC, datetime
from typing import Any

import orjson
from sqlalchemy import BigInteger, Boolean, DateTime, Dialect, Double, Integer, LargeBinary, Text
from sqlalchemy.types import TypeDecorator, TypeEngine

_DIGITS = "0123456789abcdefghjkmnpqrstvwxyz"  # base 32 without i, l, o, u: nothing to misread aloud
_PAIRS = tuple(high + low for high in _DIGITS for low in _DIGITS)  # ten bits at a time
_VALUE = {digit: index for index, digit in enumerate(_DIGITS)}
PUT_BACK_MS = 1000  # by which a clock may be put back without an id sorting before an earlier one
ID_LENGTH = 13  # 13 × 5 bits hold 63
ID_PATTERN = r"^[0-7][0-9a-hjkmnp-tv-z]{12}$"


class _Given:
    """The last id that this process gave. 22 random bits alone meet again among the hundreds of one millisecond."""

    def __init__(self) -> None:
        self.start_over()

    def start_over(self) -> None:
        """Draw anew with the next id: a copy of this process must not count on from where it was."""
        self.last, self.one_at_a_time = 0, threading.Lock()

    def next(self, moment_ms: int) -> int:
        """A number that this process gave to nobody yet: drawn in a new millisecond, else the one after the last."""
        with self.one_at_a_time:
            # counting on may carry over into the millisecond that follows, and a clock may be put back a little
            if 0 <= (self.last >> 22) - moment_ms <= PUT_BACK_MS:
                self.last += 1
            else:
                self.last = moment_ms << 22 | secrets.randbits(22)
            return self.last


_given = _Given()
if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=_given.start_over)


def new_id() -> str:
    """A fresh opaque id: 41 bits of milliseconds, then 22 bits drawn anew in each, so newer ids sort after older ones.

    No two of one process are one. Two processes meet only where both draw the same in the same millisecond.
    """
    return id_text(_given.next(time.time_ns() // 1_000_000 & (1 << 41) - 1))


def id_text(number: int) -> str:
    """The 13 letters that stand for a stored whole number of 63 bits."""
    return (
        _DIGITS[number >> 60]
        + _PAIRS[number >> 50 & 1023]
        + _PAIRS[number >> 40 & 1023]
        + _PAIRS[number >> 30 & 1023]
        + _PAIRS[number >> 20 & 1023]
        + _PAIRS[number >> 10 & 1023]
        + _PAIRS[number & 1023]
    )


def id_number(text: str) -> int:
    """The stored whole number behind 13 letters; -1, which no row has, for anything else."""
    if len(text) != ID_LENGTH or any(letter not in _VALUE for letter in text):
        return -1
    number = 0
    for letter in text:
        number = number << 5 | _VALUE[letter]
    return number if number < 1 << 63 else -1


class OpaqueId(TypeDecorator[str]):
    """13 letters in Python and JSON, a 64-bit whole number in the database: short to index, and it fits no `float`."""

    impl = BigInteger
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """SQLite's row number must be declared INTEGER to be the row number."""
        return dialect.type_descriptor(Integer() if dialect.name == "sqlite" else BigInteger())

    def process_bind_param(self, value: str | None, dialect: Dialect) -> int | None:
        return None if value is None else id_number(value)

    def process_result_value(self, value: int | None, dialect: Dialect) -> str | None:
        return None if value is None else id_text(value)


class UtcTime(TypeDecorator[datetime]):
    """An instant. PostgreSQL keeps it as timestamptz, SQLite as text of one width, so that text order is time order."""

    impl = Text
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        if dialect.name == "postgresql":
            return dialect.type_descriptor(DateTime(timezone=True))
        return dialect.type_descriptor(Text())

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> Any:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"{value!r} has no time zone; an instant needs one")
        value = value.astimezone(UTC)
        return value if dialect.name == "postgresql" else value.strftime("%Y-%m-%dT%H:%M:%S.%fZ")

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        return value.astimezone(UTC) if isinstance(value, datetime) else datetime.fromisoformat(value)


def real() -> TypeEngine[float]:
    """A 64-bit float under the one name that strict SQLite tables take."""
    return Double().with_variant(_SqliteReal(), "sqlite")


class _SqliteReal(Double[float]):
    __visit_name__ = "REAL"


def whole() -> TypeEngine[int]:
    """A 64-bit whole number on both engines."""
    return BigInteger().with_variant(Integer(), "sqlite")


def blob() -> TypeEngine[bytes]:
    """Bytes as they are."""
    return LargeBinary()


class Flag(TypeDecorator[bool]):
    """True or false; strict SQLite tables know no BOOLEAN, so 1 or 0 there."""

    impl = Boolean
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        return dialect.type_descriptor(Integer() if dialect.name == "sqlite" else Boolean())

    def process_bind_param(self, value: bool | None, dialect: Dialect) -> Any:
        if value is None or dialect.name != "sqlite":
            return value
        return int(value)

    def process_result_value(self, value: Any, dialect: Dialect) -> bool | None:
        return None if value is None else bool(value)


class JsonText(TypeDecorator[Any]):
    """A small JSON value as text, keys sorted, so that the same value is the same bytes on both engines."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> str | None:
        return None if value is None else orjson.dumps(value, option=orjson.OPT_SORT_KEYS).decode()

    def process_result_value(self, value: str | None, dialect: Dialect) -> Any:
        return None if value is None else orjson.loads(value)
