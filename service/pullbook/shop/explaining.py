"""Explaining: when the shop changed what stands behind published results, and the reason it gave."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.db.evidence import AuditDetail, AuditEntry
from pullbook.db.tables import Calibration, WeatherReading
from pullbook.shop.amending import Change, Reason
from pullbook.shop.comparing import Comparison


def explained(session: Session, changes: Sequence[Change], comparison: Comparison) -> tuple[Change, ...]:
    """The same changes, each reason with its time and words as far as the records know them: four statements at most.

    A reason without a time is one that no record dates: a method changes with the program.
    """
    asked = {reason: reason for change in changes for reason in change.reasons}
    told = {
        **_of_calibrations(session, [one for one in asked if one.code == "calibration"]),
        **_of_weather(session, [one for one in asked if one.code == "weather"]),
        **_of_pulls(session, [one for one in asked if one.code in _FROM_TRAIL], comparison),
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
_FROM_TRAIL = {"set_aside": "set_aside_reason", "counts_again": "set_aside_reason", "channel_map": "channel_map_id"}


def _of_pulls(session: Session, reasons: Sequence[Reason], comparison: Comparison) -> dict[Reason, Reason]:
    ids = sorted({one.pull_id for one in reasons})
    if not ids:
        return {}
    latest = _latest(session, ids)
    known = {pull.facts.id: pull for pull in comparison.pulls}
    found = {}
    for one in reasons:
        at, words = latest.get((one.pull_id, _FROM_TRAIL[one.code])), ""
        pull = known.get(one.pull_id)
        if one.code == "set_aside" and pull is not None:
            at, words = pull.facts.set_aside_at, pull.facts.set_aside_reason or ""
        if one.code == "channel_map" and pull is not None and pull.channel_map is not None:
            words = pull.channel_map.name
        found[one] = replace(one, at=at, words=words)
    return found


def _latest(session: Session, pull_ids: Sequence[str]) -> dict[tuple[str, str], datetime]:
    """When each field of these pulls was changed last, by the trail."""
    rows = session.execute(
        select(AuditEntry.record_id, AuditEntry.at, AuditDetail.after)
        .join(AuditDetail, AuditDetail.number == AuditEntry.number)
        .where(AuditEntry.record == "pull", AuditEntry.record_id.in_(pull_ids), AuditEntry.action == "change")
        .order_by(AuditEntry.number)
    )
    return {(row.record_id, name): row.at for row in rows for name in row.after or {}}
