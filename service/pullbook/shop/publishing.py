"""Publishing results: a link to named pulls under one standard, and a plain word when they changed since."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from pullbook.db.evidence import ResultsLink
from pullbook.shop.comparing import Comparison
from pullbook.shop.facts import TicketFacts
from sqlalchemy.orm import Session


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
class Change:
    """One thing that is not as it was when the link was published."""

    what: str  # "Baseline, pull of 3 March 14:02: peak power"
    was: str  # "182.4 kW"
    now: str
    why: str  # "a new calibration is in force for that day"


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


def publish(
    session: Session, now: datetime, staff_id: str, ticket_id: str, wanted: LinkWanted, weather_stale_minutes: int = 60
) -> tuple[ResultsLink, str]:
    """Make a link to pulls of one ticket; gives the row and the token, which is not kept."""
    raise NotImplementedError


def open_link(session: Session, token: str, now: datetime, weather_stale_minutes: int = 60) -> Published:
    """What this token shows. NotFound: never given out. Gone: ended or revoked. Both say to ask the shop."""
    raise NotImplementedError


def count_opening(session: Session, token: str, now: datetime) -> None:
    """Somebody looked: one more, and the day. Nothing about who."""
    raise NotImplementedError
