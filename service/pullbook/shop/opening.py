"""Opening: what stands behind a results link's token, and how often somebody looked."""

import hmac
import threading
from collections import OrderedDict
from datetime import UTC, datetime
from ipaddress import IPv6Address, ip_address

from sqlalchemy import bindparam, func, select, update
from sqlalchemy.orm import Session

from pullbook.db.evidence import ResultsLink, ResultsLinkDay
from pullbook.db.tables import Shop
from pullbook.db.upserting import upsert
from pullbook.errors import NotFound, TooMany
from pullbook.late_methods import dataclass
from pullbook.shop.loading import load_pulls
from pullbook.shop.publishing import Published, facts_of, token_hash
from pullbook.shop.rereading import changes_of, reread, shown_link
from pullbook.shop.slowing_down import Pace
from pullbook.shop.superseding import earlier, replaced_at

ASK = "There are no results at this address. Ask the shop that gave it to you."
MISSES_BY_ADDRESS = Pace(burst=30, seconds_each=6.0)
MISSES_ANYWHERE = Pace(burst=600, seconds_each=0.2)
MOST_ADDRESSES = 4096

# Whatever the token, one row is read and held against it: its own, or else that of the next hash, or of the first. A
# look that finds no row is faster than one that finds an ended link, and ten thousand of them show it.
_NEXT = (
    select(ResultsLink.token_hash)
    .where(ResultsLink.token_hash >= bindparam("token_hash"))
    .order_by(ResultsLink.token_hash)
    .limit(1)
)
_FIRST = select(ResultsLink.token_hash).order_by(ResultsLink.token_hash).limit(1)
_NEAREST = select(
    ResultsLink.id, ResultsLink.token_hash, ResultsLink.pin_hash, ResultsLink.revoked_at, ResultsLink.ends_at
).where(ResultsLink.token_hash == func.coalesce(_NEXT.scalar_subquery(), _FIRST.scalar_subquery()))


@dataclass(frozen=True, slots=True)
class LiveLink:
    """A link that opens, as much as decides whether it may be seen."""

    id: str
    pin_hash: str | None


def live_link(session: Session, token: str, now: datetime) -> LiveLink:
    """The link behind a token. NotFound alike for one never given out, ended or revoked: nobody learns which."""
    asked = token_hash(token)
    row = session.execute(_NEAREST, {"token_hash": asked}).one_or_none()
    if row is None:
        raise NotFound(ASK)
    is_its = hmac.compare_digest(row.token_hash, asked)
    if not (is_its & (row.revoked_at is None) & (row.ends_at > now)):
        raise NotFound(ASK)
    return LiveLink(row.id, row.pin_hash)


def open_link(session: Session, token: str, now: datetime, weather_stale_minutes: int = 60) -> Published:
    """What this token shows, whether or not the link wants a PIN; NotFound as `live_link` says."""
    return published_as(session, live_link(session, token, now).id, weather_stale_minutes)


def published_as(session: Session, link_id: str, weather_stale_minutes: int = 60) -> Published:
    """What the link of this id shows, which there must be."""
    row = session.execute(select(ResultsLink).where(ResultsLink.id == link_id)).scalar_one()
    return published_under(session, row, weather_stale_minutes)


def published_under(session: Session, row: ResultsLink, weather_stale_minutes: int = 60) -> Published:
    """What a link shows: its pulls read anew, and what changed since it was made."""
    link = shown_link(row)
    comparison = reread(load_pulls(session, link.pull_ids), link, weather_stale_minutes)
    shop = session.execute(select(Shop.name, Shop.time_zone)).one_or_none()
    return Published(
        link=facts_of(row),
        shop_name=shop.name if shop else "",
        time_zone=shop.time_zone if shop else "UTC",
        ticket=comparison.ticket,
        comparison=comparison,
        changes=changes_of(session, link, comparison),
        replaced_at=replaced_at(session, row.id),
        earlier=earlier(session, row.replaces_id, row.published, comparison),
    )


def count_opening(session: Session, link_id: str, now: datetime) -> None:
    """Somebody looked: one more, and the day. Nothing about who."""
    day = now.astimezone(UTC).date().isoformat()
    more = {"opened_count": ResultsLink.opened_count + 1, "last_opened_on": day}
    session.execute(update(ResultsLink).where(ResultsLink.id == link_id).values(**more))
    fresh = upsert(session, ResultsLinkDay).values(link_id=link_id, day=day, times=1)
    times = {"times": ResultsLinkDay.times + 1}
    session.execute(fresh.on_conflict_do_update(index_elements=["link_id", "day"], set_=times))


class Guesses:
    """Buckets of misses, in memory and nowhere else: addresses of people are not kept.

    Only an address that leads nowhere costs anything, so a shop, its customers and somebody who guesses may share one:
    links that are good open all the while. What makes guessing hopeless is the token's 256 bits; this keeps it cheap.
    """

    def __init__(self) -> None:
        self._left: OrderedDict[str, tuple[float, datetime]] = OrderedDict()
        self._lock = threading.Lock()

    def miss(self, address: str, now: datetime) -> None:
        """Count a miss. TooMany once an address, or everybody together, has had too many; it says when to come back."""
        with self._lock:
            here = self._take(_network(address), MISSES_BY_ADDRESS, now)
            anywhere = self._take("", MISSES_ANYWHERE, now)
            while len(self._left) > MOST_ADDRESSES:
                self._left.popitem(last=False)
        wait_s = max(here, anywhere)
        if wait_s > 0.0:
            raise TooMany(ASK, int(wait_s) + 1)

    def _take(self, bucket: str, pace: Pace, now: datetime) -> float:
        """Seconds to wait; 0 where one was left, which is then used up."""
        left, since = self._left.pop(bucket, (float(pace.burst), now))
        left = min(float(pace.burst), left + max(0.0, (now - since).total_seconds()) / pace.seconds_each)
        enough = left >= 1.0
        self._left[bucket] = (left - 1.0 if enough else left, now)
        return 0.0 if enough else (1.0 - left) * pace.seconds_each


def _network(address: str) -> str:
    """An address as it is counted: of the newer kind a home has 2**64, so the first half stands for all of them."""
    try:
        known = ip_address(address)
    except ValueError:
        return address[:64]
    return str(int(known) >> 64) if isinstance(known, IPv6Address) else str(known)
