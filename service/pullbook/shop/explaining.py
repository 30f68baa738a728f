"""Explaining: when the shop changed what stands behind published results, and the reason it gave."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.db.evidence import AuditDetail, AuditEntry
from pullbook.db.joined import JoinedFile
from pullbook.db.tables import Calibration, WeatherReading
from pullbook.shop.amending import Change, Reason
from pullbook.shop.comparing import Comparison
from pullbook.shop.reading import ReadPull


def explained(
    session: Session, changes: Sequence[Change], comparison: Comparison, since: datetime
) -> tuple[Change, ...]:
    """The same changes, each reason with its time and words as far as the records know them: five statements at most.

    A reason without a time is one that no record dates: a method changes with the program.
    """
    asked = {reason: reason for change in changes for reason in change.reasons}
    told = {
        **_of_calibrations(session, [one for one in asked if one.code == "calibration"]),
        **_of_weather(session, [one for one in asked if one.code == "weather"]),
        **_of_pulls(session, [one for one in asked if one.code in _FROM_TRAIL], comparison),
        **_of_others(session, [one for one in asked if one.code == "other"], comparison, since),
    }
    known = {reason: told.get(reason, reason) for reason in asked}
    return tuple(replace(one, reasons=tuple(known[reason] for reason in one.reasons)) for one in changes)


def _of_calibrations(session: Session, reasons: Iterable[Reason]) -> dict[Reason, Reason]:
    rows = _rows(session, Calibration, reasons, Calibration.made_at, Calibration.reason)
    return {
        one: replace(one, at=rows[one.now].made_at, words=rows[one.now].reason) for one in reasons if one.now in rows
    }


def _of_weather(session: Session, reasons: Iterable[Reason]) -> dict[Reason, Reason]:
    """Corrected where the new reading took the old one's place; else a closer one was entered."""
    columns = (WeatherReading.made_at, WeatherReading.source, WeatherReading.supersedes_id)
    rows = _rows(session, WeatherReading, reasons, *columns)
    return {
        one: replace(one, at=rows[one.now].made_at, words=rows[one.now].source) for one in reasons if one.now in rows
    }


def _rows(session: Session, table: Any, reasons: Iterable[Reason], *columns: Any) -> dict[str | None, Any]:
    ids = sorted({one.now for one in reasons if one.now is not None})
    if not ids:
        return {}
    return {row.id: row for row in session.execute(select(table.id, *columns).where(table.id.in_(ids)))}


# which field of which record's trail tells of it
_FROM_TRAIL = {
    "set_aside": "set_aside_reason",
    "counts_again": "set_aside_reason",
    "channel_map": "channel_map_id",
    "setup": "setup_id",
}
# what of a car or a setup decides a curve
_OF_THE_ENGINE = {
    "ignition",
    "aspiration",
    "fuel_per_litre_cycle_mg",
    "holds_own_boost",
    "engine_turns_per_roller_turn",
}


def _of_pulls(session: Session, reasons: Sequence[Reason], comparison: Comparison) -> dict[Reason, Reason]:
    ids = sorted({one.pull_id for one in reasons})
    if not ids:
        return {}
    latest = latest_changes(session, ids)
    known = {pull.facts.id: pull for pull in comparison.pulls}
    found = {}
    for one in reasons:
        at, words = latest.get((one.pull_id, _FROM_TRAIL[one.code])), ""
        pull = known.get(one.pull_id)
        if one.code == "set_aside" and pull is not None:
            words = pull.facts.set_aside_reason or ""
        if one.code == "channel_map" and pull is not None and pull.channel_map is not None:
            words = pull.channel_map.name
        found[one] = replace(one, at=at, words=words)
    return found


def _of_others(
    session: Session, reasons: Sequence[Reason], comparison: Comparison, since: datetime
) -> dict[Reason, Reason]:
    """When the trail last tells of the car's engine, the setup's gearing or a joined file, since it was published."""
    known = {pull.facts.id: pull for pull in comparison.pulls}
    about = {one: _stands_behind(session, known[one.pull_id]) for one in reasons if one.pull_id in known}
    ids = set().union(*about.values()) if about else set()
    rows = session.execute(
        select(AuditEntry.record, AuditEntry.record_id, AuditEntry.at, AuditDetail.after)
        .join(AuditDetail, AuditDetail.number == AuditEntry.number)
        .where(AuditEntry.record_id.in_(sorted(ids)), AuditEntry.at >= since, AuditEntry.action.in_(("change", "join")))
        .order_by(AuditEntry.number)
    )
    told = [row for row in rows if row.record == "joined_file" or _OF_THE_ENGINE & set(row.after or {})]
    return {
        one: replace(one, at=max((row.at for row in told if row.record_id in theirs), default=None))
        for one, theirs in about.items()
    }


def _stands_behind(session: Session, pull: ReadPull) -> set[str]:
    joined = session.scalars(select(JoinedFile.id).where(JoinedFile.pull_id == pull.facts.id))
    return {pull.ticket.vehicle.id, pull.setup.id, *joined}


def latest_changes(session: Session, pull_ids: Sequence[str]) -> dict[tuple[str, str], datetime]:
    """When each field of these pulls was changed last, by the trail."""
    rows = session.execute(
        select(AuditEntry.record_id, AuditEntry.at, AuditDetail.after)
        .join(AuditDetail, AuditDetail.number == AuditEntry.number)
        .where(AuditEntry.record == "pull", AuditEntry.record_id.in_(pull_ids), AuditEntry.action == "change")
        .order_by(AuditEntry.number)
    )
    return {(row.record_id, name): row.at for row in rows for name in row.after or {}}
