"""Rereading: what a results link shows, from the records as they are now."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.db.connect import Database
from pullbook.db.evidence import ResultsLink
from pullbook.errors import Invalid
from pullbook.late_methods import dataclass
from pullbook.shop.amending import Change, changes_between, published_of, still_as
from pullbook.shop.comparing import Comparison, compared
from pullbook.shop.explaining import explained
from pullbook.shop.judging import Asked
from pullbook.shop.loading import Loaded, load_pulls
from pullbook.shop.pinning import as_told
from pullbook.shop.reading import ReadSettings, read_loaded


@dataclass(frozen=True, slots=True)
class LinkShown:
    """How a link's pulls are read, and what it showed when it was published: no session behind it."""

    id: str
    ticket_id: str
    pull_ids: tuple[str, ...]
    standard: str
    window_s: float | None
    band_low_rpm: float | None
    band_high_rpm: float | None
    published: dict[str, Any]
    told: dict[str, Any] | None  # words as they were published; None: as they are on record
    made_at: datetime
    ends_at: datetime


@dataclass(frozen=True, slots=True)
class Moved:
    """A link that says something else than it did, and what. `changes` is empty where it could not be read at all."""

    link: LinkShown
    ticket_number: int
    vehicle: str
    customer_name: str
    changes: tuple[Change, ...]


_SHOWN = select(*(getattr(ResultsLink, name) for name in LinkShown.__dataclass_fields__))


def live_links(session: Session, now: datetime) -> list[LinkShown]:
    """Every link that still opens, newest first."""
    live = _SHOWN.where(ResultsLink.revoked_at.is_(None), ResultsLink.ends_at > now)
    return [shown_link(row) for row in session.execute(live.order_by(ResultsLink.id.desc()))]


def shown_link(row: Any) -> LinkShown:
    """What of a link's row decides what it shows."""
    told = {name: getattr(row, name) for name in LinkShown.__dataclass_fields__}
    return LinkShown(**{**told, "pull_ids": tuple(row.pull_ids)})


def reread(loaded: Sequence[Loaded], link: LinkShown, weather_stale_minutes: int) -> Comparison:
    """The comparison that this link shows: no database, no clock.

    Where pulls set aside since have left its band outside what the others share, the usual band takes its place: a
    customer is better served by another band, which the page names, than by none.
    """
    settings = ReadSettings(link.standard, link.window_s, weather_stale_minutes=weather_stale_minutes)
    pulls = [read_loaded(one, settings) for one in as_told(loaded, link.told)]
    try:
        return compared(pulls, settings, Asked(link.band_low_rpm, link.band_high_rpm))
    except Invalid:
        return compared(pulls, settings)


def amended_links(database: Database, now: datetime, weather_stale_minutes: int) -> list[Moved]:
    """Every live link that says something else now than when it was published: after a new version of the program,
    say. Reads each link's pulls, so it takes seconds where there are hundreds."""
    found = []
    with database.reading() as session:
        for link in live_links(session, now):
            comparison = reread(load_pulls(session, link.pull_ids), link, weather_stale_minutes)
            changes = changes_of(session, link, comparison)
            if changes:
                found.append(moved(link, comparison, changes))
    return found


def changes_of(session: Session, link: LinkShown, comparison: Comparison) -> tuple[Change, ...]:
    """What is not as it was published, with when and why from the records; empty: exactly as published."""
    published = published_of(comparison)
    if still_as(link.published, published):
        return ()
    changes = changes_between(link.published, published, comparison)
    return explained(session, changes, comparison, link.made_at)


def moved(link: LinkShown, comparison: Comparison, changes: tuple[Change, ...]) -> Moved:
    """A link with the names that staff know it by."""
    ticket = comparison.ticket
    return Moved(link, ticket.number, ticket.vehicle.title, ticket.customer_name, changes)
