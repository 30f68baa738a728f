"""Publishing results: a link to named pulls under one standard, and a plain word when they changed since."""

import hashlib
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from pullbook.db.evidence import ResultsLink
from pullbook.db.tables import Shop
from pullbook.errors import FieldProblem, Gone, Invalid, NotFound
from pullbook.shop.amending import Change, changes_between, published_of
from pullbook.shop.auditing import note
from pullbook.shop.chaining import enter
from pullbook.shop.comparing import Comparison, compare
from pullbook.shop.facts import TicketFacts
from pullbook.shop.reading import ReadSettings
from pullbook.shop.tracing import digest_of

TOKEN_BYTES = 32
ASK = "Please ask the shop for a new one."


@dataclass(frozen=True, slots=True)
class LinkFacts:
    """A results link as its page states it. The token is not among the facts."""

    id: str
    ticket_id: str
    pull_ids: tuple[str, ...]
    standard: str
    window_s: float | None
    note: str
    made_at: datetime
    ends_at: datetime
    opened_count: int
    last_opened_on: str | None


@dataclass(frozen=True, slots=True)
class Published:
    """What a customer's page shows."""

    link: LinkFacts
    shop_name: str
    time_zone: str
    ticket: TicketFacts
    comparison: Comparison
    changes: tuple[Change, ...]  # empty: exactly what was published


@dataclass(frozen=True, slots=True)
class LinkWanted:
    """What somebody at the desk asks to publish."""

    pull_ids: Sequence[str]
    standard: str
    window_s: float | None = None
    note: str = ""
    days: int = 90


def token_hash(token: str) -> str:
    """What is kept of a token. It has 256 random bits, so a plain hash cannot be guessed back."""
    return hashlib.sha256(token.encode()).hexdigest()


def publish(
    session: Session, now: datetime, staff_id: str, ticket_id: str, wanted: LinkWanted, weather_stale_minutes: int = 60
) -> tuple[ResultsLink, str]:
    """Make a link to pulls of one ticket; gives the row and the token, which is not kept.

    Invalid for pulls of another ticket or without a curve: a customer is not shown what the shop cannot read.
    """
    settings = ReadSettings(wanted.standard, wanted.window_s, weather_stale_minutes=weather_stale_minutes)
    comparison = compare(session, wanted.pull_ids, settings)
    for pull in comparison.pulls:
        if pull.facts.ticket_id != ticket_id:
            raise Invalid(
                f"Pull {pull.facts.id} is not on this ticket.",
                FieldProblem("pull_ids", pull.facts.id, "ids of pulls of this ticket"),
            )
        if pull.curve is None:
            raise Invalid(
                f"Pull {pull.facts.id} has no curve to show: {pull.failure}",
                FieldProblem("pull_ids", pull.facts.id, "pulls that can be read"),
            )
    published = published_of(comparison)
    token = secrets.token_urlsafe(TOKEN_BYTES)
    row = ResultsLink(
        ticket_id=ticket_id,
        token_hash=token_hash(token),
        pull_ids=list(dict.fromkeys(wanted.pull_ids)),
        standard=wanted.standard,
        window_s=wanted.window_s,
        note=wanted.note,
        digest=digest_of(published),
        published=published,
        made_at=now,
        made_by=staff_id,
        ends_at=now + timedelta(days=wanted.days),
    )
    session.add(row)
    session.flush()
    after = {"ticket_id": ticket_id, "pull_ids": row.pull_ids, "standard": row.standard, "digest": row.digest}
    note(session, now, staff_id, "publish", "results_link", row.id, None, after)
    enter(session, now, "published", row.id)
    return row, token


def open_link(session: Session, token: str, now: datetime, weather_stale_minutes: int = 60) -> Published:
    """What this token shows. NotFound: never given out. Gone: ended or revoked. Both say to ask the shop."""
    row = session.execute(select(ResultsLink).where(ResultsLink.token_hash == token_hash(token))).scalar_one_or_none()
    if row is None:
        raise NotFound(f"There are no results at this address. {ASK}")
    if row.revoked_at is not None or row.ends_at <= now:
        raise Gone(f"This link to results has ended. {ASK}")
    settings = ReadSettings(row.standard, row.window_s, weather_stale_minutes=weather_stale_minutes)
    comparison = compare(session, row.pull_ids, settings)
    shop = session.execute(select(Shop.name, Shop.time_zone)).one_or_none()
    published = published_of(comparison)
    changes: tuple[Change, ...] = ()
    if digest_of(published) != row.digest:
        changes = changes_between(row.published, published, comparison)
    return Published(
        link=_link_facts(row),
        shop_name=shop.name if shop else "",
        time_zone=shop.time_zone if shop else "UTC",
        ticket=comparison.ticket,
        comparison=comparison,
        changes=changes,
    )


def _link_facts(row: ResultsLink) -> LinkFacts:
    return LinkFacts(
        id=row.id,
        ticket_id=row.ticket_id,
        pull_ids=tuple(row.pull_ids),
        standard=row.standard,
        window_s=row.window_s,
        note=row.note,
        made_at=row.made_at,
        ends_at=row.ends_at,
        opened_count=row.opened_count,
        last_opened_on=row.last_opened_on,
    )


def count_opening(session: Session, token: str, now: datetime) -> None:
    """Somebody looked: one more, and the day. Nothing about who, and nothing for a link that has ended."""
    session.execute(
        update(ResultsLink)
        .where(ResultsLink.token_hash == token_hash(token), ResultsLink.revoked_at.is_(None), ResultsLink.ends_at > now)
        .values(opened_count=ResultsLink.opened_count + 1, last_opened_on=now.astimezone(UTC).date().isoformat())
    )


__all__ = [
    "Change",
    "LinkFacts",
    "LinkWanted",
    "Published",
    "count_opening",
    "open_link",
    "publish",
    "token_hash",
]
