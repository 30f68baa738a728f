"""Sealing: the exact bytes behind every digest of the chain, so that anybody can work them out again.

Canonical form: JSON in ASCII, keys sorted, no blanks, non-ASCII escaped as `\\uXXXX`. Whole numbers and texts as they
are; instants as `2026-03-10T09:00:00.000000Z`; a 64-bit float as its exact hexadecimal text (`0x1.8p+1`); what is NULL
is left out of a row and stands as `null` in an entry.

    digest(purpose, value) = SHA-256( "pullbook chain, " + purpose + ", 1\\n" + canonical(value) )

The purposes are `row`, `words` and `entry`; none can be taken for another. An entry's digest is the chain's head after
it, and the entry names the head before it; the first names 64 noughts.

    entry  {"number", "kind", "record", "at", "entered_at", "staff", "device", "sha256", "size", "row", "words",
            "previous"}
    row    {"kind of record", "id", and every column of `KINDS` that is not words}
    words  {"salt", and every column of words that is not empty}
"""

import hashlib
import json
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from typing import Any, cast

from sqlalchemy import Table, select
from sqlalchemy.orm import Session

from pullbook.db.chain import ChainKey, SignedHead
from pullbook.db.evidence import Pull, ResultsLink
from pullbook.db.joined import CalibrationBasis, CalibrationEvidence, JoinedFile
from pullbook.db.senders import TrayFile
from pullbook.db.tables import Calibration, ChannelMap, WeatherReading
from pullbook.late_methods import dataclass

FIRST_PREVIOUS = "0" * 64


@dataclass(frozen=True, slots=True)
class Sealed:
    """What of one kind of record goes into the chain, and where that lies."""

    table: Table
    at: str
    columns: tuple[str, ...]
    words: tuple[str, ...] = ()
    by: str | None = None  # the column of the person
    device: str | None = None
    file: bool = False  # has a raw file of its own: the column `sha256`
    key: str = "id"  # the column that names it
    beside: Callable[[Session, str], dict[str, Any]] | None = None


def _basis(session: Session, calibration_id: str) -> dict[str, Any]:
    asked = select(CalibrationBasis.evidence_id).where(CalibrationBasis.calibration_id == calibration_id)
    return {"evidence_ids": sorted(session.execute(asked).scalars())}


def _constants() -> tuple[str, ...]:
    left_out = ("id", "reason", "evidence")
    return tuple(name for name in Calibration.__table__.columns.keys() if name not in left_out)  # noqa: SIM118


def _table(kind: Any) -> Table:
    return cast("Table", kind.__table__)


_READING = ("air_temperature_c", "station_pressure_kpa", "humidity_kind", "humidity_value", "altimeter_setting_kpa")
_ENTERED = ("made_at", "made_by")
_SHOWN = ("standard", "window_s", "band_low_rpm", "band_high_rpm", "units", "language")
KINDS: Mapping[str, Sealed] = {
    "key": Sealed(_table(ChainKey), "made_at", ("public_key", "made_at"), ("reason",)),
    "channel map": Sealed(_table(ChannelMap), "made_at", ("columns", *_ENTERED), ("name",), "made_by"),
    "calibration evidence": Sealed(
        _table(CalibrationEvidence),
        "made_at",
        ("cell_id", "kind", "taken_at", "sha256", "channel_map_id", "details", *_ENTERED),
        ("file_name", "note"),
        "made_by",
        file=True,
    ),
    "calibration": Sealed(
        _table(Calibration), "made_at", _constants(), ("reason", "evidence"), "made_by", beside=_basis
    ),
    "weather": Sealed(
        _table(WeatherReading),
        "made_at",
        ("cell_id", "read_at", *_READING, "supersedes_id", *_ENTERED),
        ("source", "doubt"),
        "made_by",
    ),
    "tray file": Sealed(
        _table(TrayFile),
        "received_at",
        ("cell_id", "device_id", "sha256", "taken_at", "received_at", "clock_ahead_s"),
        ("file_name",),
        device="device_id",
        file=True,
    ),
    "pull": Sealed(
        _table(Pull),
        "received_at",
        ("ticket_id", "cell_id", "sha256", "kind", "taken_at", "received_at", "operator_id"),
        ("file_name",),
        "operator_id",
        file=True,
    ),
    "joined file": Sealed(
        _table(JoinedFile),
        "received_at",
        ("pull_id", "sha256", "received_at", "made_by"),
        ("file_name",),
        "made_by",
        file=True,
    ),
    "published": Sealed(
        _table(ResultsLink),
        "made_at",
        ("ticket_id", "token_hash", "pull_ids", *_SHOWN, "digest", "published", "replaces_id", *_ENTERED),
        ("note", "told"),
        "made_by",
    ),
    "signed head": Sealed(
        _table(SignedHead),
        "signed_at",
        ("entries", "head", "signed_at", "key_id", "signature", "trail_entries", "trail_hash"),
        key="day",
    ),
}  # in this order what was there before the chain is taken in, within one instant


def plain(value: Any) -> Any:
    """A value as its canonical form has it."""
    if isinstance(value, datetime):
        return value.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
    if isinstance(value, float):
        return value.hex()
    if isinstance(value, Mapping):
        return {str(key): plain(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [plain(one) for one in value]
    return value


def canonical(value: Any) -> bytes:
    """The bytes that are hashed."""
    return json.dumps(plain(value), sort_keys=True, separators=(",", ":"), ensure_ascii=True).encode("ascii")


def digest(purpose: str, value: Any) -> str:
    """SHA-256 in hex, of nothing that could be taken for something else."""
    return hashlib.sha256(f"pullbook chain, {purpose}, 1\n".encode("ascii") + canonical(value)).hexdigest()


def row_digest(kind: str, row: Mapping[str, Any]) -> str:
    """Of everything about a record that never changes and is not words. `row` as `sealed_row` gives it."""
    there = {name: row[name] for name in KINDS[kind].columns if row[name] is not None}
    return digest("row", {"kind of record": kind, "id": row["id"], **there, **row.get("beside", {})})


def words_digest(kind: str, row: Mapping[str, Any], salt: str) -> str | None:
    """Of a record's words, salted; None where it has none."""
    words = {name: row[name] for name in KINDS[kind].words if row[name]}
    return digest("words", {"salt": salt, **words}) if words else None


def entry_of(row: Mapping[str, Any]) -> dict[str, Any]:
    """An entry's row of the database as the object that is hashed, and that an export holds."""
    names = {"record_id": "record", "staff_id": "staff", "device_id": "device", "size_bytes": "size"}
    names |= {"row_digest": "row", "words_digest": "words"}
    same = ("number", "kind", "at", "entered_at", "sha256", "previous")
    return {**{name: plain(row[name]) for name in same}, **{said: plain(row[name]) for name, said in names.items()}}


def head_of(entry: Mapping[str, Any]) -> str:
    """The chain's head after this entry. `entry` as `entry_of` gives it."""
    return digest("entry", entry)
