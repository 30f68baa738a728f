"""Publishing results: a link to named pulls under one standard, band and set of units, for so many days."""

import hashlib
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any, Literal

from sqlalchemy import ColumnElement, and_, select
from sqlalchemy.orm import Session

from pullbook.db.evidence import ResultsLink
from pullbook.db.stored_types import new_id
from pullbook.db.tables import Shop
from pullbook.errors import FieldProblem, Invalid
from pullbook.late_methods import dataclass
from pullbook.shop.amending import Change, published_of
from pullbook.shop.auditing import note
from pullbook.shop.chaining import enter
from pullbook.shop.comparing import Comparison, compare
from pullbook.shop.facts import TicketFacts
from pullbook.shop.judging import Asked
from pullbook.shop.keying import LinkKey
from pullbook.shop.pinning import told_of
from pullbook.shop.reading import ReadSettings
from pullbook.shop.superseding import Earlier, earlier, refuse_wrong_replacing
from pullbook.shop.tracing import digest_of
from pullbook.shop.unlocking import pin_hash_of

LANGUAGES = {"en": "English", "de": "Deutsch"}  # those in which the customer's page is told


@dataclass(frozen=True, slots=True)
class LinkFacts:
    """A results link as its page states it. Neither token nor PIN is among the facts."""

    id: str
    ticket_id: str
    pull_ids: tuple[str, ...]
    standard: str
    window_s: float | None
    band_low_rpm: float | None
    band_high_rpm: float | None
    units: Mapping[str, str]  # power, torque and pressure by their labels; empty: as the shop shows them
    language: str
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
    replaced_at: datetime | None = None  # when newer results took the place of these
    earlier: Earlier | None = None  # those whose place these took


@dataclass(frozen=True, slots=True)
class LinkWanted:
    """What somebody asks to publish. `units` left out are the shop's of today, which are then kept with the link."""

    pull_ids: Sequence[str]
    standard: str
    window_s: float | None = None
    note: str = ""
    days: int = 90
    band_low_rpm: float | None = None
    band_high_rpm: float | None = None
    units: Mapping[str, str] | None = None
    language: str = "en"
    pin: str = ""
    replaces_id: str | None = None  # a link of the same ticket whose results these are said instead of


LinkState = Literal["live", "ended", "revoked"]


def in_state(state: LinkState, now: datetime) -> ColumnElement[bool]:
    """The condition that a link still opens, has run out, or was ended by the shop."""
    if state == "revoked":
        return ResultsLink.revoked_at.is_not(None)
    over = ResultsLink.ends_at <= now
    return and_(ResultsLink.revoked_at.is_(None), over if state == "ended" else ~over)


def token_hash(token: str) -> str:
    """What is kept of a token. It has 256 random bits, so a plain hash cannot be guessed back."""
    return hashlib.sha256(token.encode()).hexdigest()


def publish(
    session: Session,
    now: datetime,
    staff_id: str,
    ticket_id: str,
    wanted: LinkWanted,
    key: LinkKey,
    weather_stale_minutes: int = 60,
) -> tuple[ResultsLink, str]:
    """Make a link to pulls of one ticket; gives the row and the token, of which only the hash is kept.

    Invalid for pulls of another ticket or without a curve: a customer is not shown what the shop cannot read.
    """
    comparison = compared_for(session, ticket_id, wanted, weather_stale_minutes)
    published = published_of(comparison)
    link_id = new_id()
    token = key.token(link_id)
    row = _row(wanted, ticket_id, published, shop_units(session))
    row.id, row.token_hash, row.pin_hash = link_id, token_hash(token), pin_hash_of(wanted.pin) if wanted.pin else None
    row.made_at, row.made_by, row.ends_at = now, staff_id, now + timedelta(days=wanted.days)
    row.told = told_of(comparison)
    session.add(row)
    session.flush()
    after = {
        "ticket_id": ticket_id,
        "pull_ids": row.pull_ids,
        "standard": row.standard,
        "digest": row.digest,
        "band_rpm": [row.band_low_rpm, row.band_high_rpm],
        "units": row.units,
        "language": row.language,
        "ends_at": row.ends_at.isoformat(),
        "wants_pin": row.pin_hash is not None,
        **({"replaces_id": row.replaces_id} if row.replaces_id else {}),
    }
    note(session, now, staff_id, "publish", "results_link", row.id, None, after)
    enter(session, now, "published", row.id)
    return row, token


def preview(
    session: Session, now: datetime, ticket_id: str, wanted: LinkWanted, weather_stale_minutes: int = 60
) -> Published:
    """Just what `publish` would show, made by the same steps and kept nowhere; Invalid as there."""
    comparison = compared_for(session, ticket_id, wanted, weather_stale_minutes)
    row = _row(wanted, ticket_id, published_of(comparison), shop_units(session))
    row.id, row.made_at, row.ends_at, row.opened_count = "", now, now + timedelta(days=wanted.days), 0
    shop = session.execute(select(Shop.name, Shop.time_zone)).one_or_none()
    return Published(
        link=facts_of(row),
        shop_name=shop.name if shop else "",
        time_zone=shop.time_zone if shop else "UTC",
        ticket=comparison.ticket,
        comparison=comparison,
        changes=(),
        earlier=earlier(session, row.replaces_id, row.published, comparison),
    )


def compared_for(session: Session, ticket_id: str, wanted: LinkWanted, weather_stale_minutes: int) -> Comparison:
    """The comparison that a link would show; Invalid, naming the field, where it would show what it must not."""
    if wanted.language not in LANGUAGES:
        known = FieldProblem("language", wanted.language, f"one of {', '.join(LANGUAGES)}")
        raise Invalid("The customer's page is not told in that language.", known)
    if wanted.replaces_id is not None:
        refuse_wrong_replacing(session, ticket_id, wanted.replaces_id)
    settings = ReadSettings(wanted.standard, wanted.window_s, weather_stale_minutes=weather_stale_minutes)
    comparison = compare(session, wanted.pull_ids, settings, Asked(wanted.band_low_rpm, wanted.band_high_rpm))
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
    return comparison


def shop_units(session: Session) -> dict[str, str]:
    """The units the shop shows power, torque and pressure in, by their labels; empty before it is set up."""
    shop = session.execute(select(Shop.power_unit, Shop.torque_unit, Shop.pressure_unit)).one_or_none()
    return {} if shop is None else dict(zip(("power", "torque", "pressure"), shop, strict=True))


def _row(wanted: LinkWanted, ticket_id: str, published: dict[str, Any], units: Mapping[str, str]) -> ResultsLink:
    return ResultsLink(
        ticket_id=ticket_id,
        pull_ids=list(dict.fromkeys(wanted.pull_ids)),
        standard=wanted.standard,
        window_s=wanted.window_s,
        band_low_rpm=wanted.band_low_rpm,
        band_high_rpm=wanted.band_high_rpm,
        units={**units, **(wanted.units or {})},
        language=wanted.language,
        note=wanted.note,
        digest=digest_of(published),
        published=published,
        replaces_id=wanted.replaces_id,
    )


def facts_of(row: ResultsLink) -> LinkFacts:
    """A link's row as its page is told of it."""
    return LinkFacts(
        id=row.id,
        ticket_id=row.ticket_id,
        pull_ids=tuple(row.pull_ids),
        standard=row.standard,
        window_s=row.window_s,
        band_low_rpm=row.band_low_rpm,
        band_high_rpm=row.band_high_rpm,
        units=row.units or {},
        language=row.language,
        note=row.note,
        made_at=row.made_at,
        ends_at=row.ends_at,
        opened_count=row.opened_count,
        last_opened_on=row.last_opened_on,
    )


__all__ = [
    "LANGUAGES",
    "Change",
    "LinkFacts",
    "LinkState",
    "LinkWanted",
    "Published",
    "compared_for",
    "facts_of",
    "in_state",
    "preview",
    "publish",
    "shop_units",
    "token_hash",
]
