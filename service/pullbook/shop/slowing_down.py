"""Buckets of tries: guessing gets slow, and nobody is locked out for it."""

import hashlib
import math
from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlalchemy import delete, or_, select
from sqlalchemy.orm import Session

from pullbook.db.tables import Tries
from pullbook.db.upserting import upsert
from pullbook.errors import TooMany
from pullbook.late_methods import dataclass


@dataclass(frozen=True)
class Pace:
    """So many tries at once, and one more every so many seconds."""

    burst: int
    seconds_each: float


BY_ADDRESS = Pace(burst=30, seconds_each=3.0)
BY_NAME_THERE = Pace(burst=10, seconds_each=20.0)  # one name from one address
BY_NAME = Pace(burst=60, seconds_each=5.0)  # one name from anywhere: wide, so that strangers cannot keep its owner out
FORGOTTEN_AFTER = timedelta(days=2)


def bucket_name(kind: str, key: str) -> str:
    """The name of a bucket; what was typed is kept as a digest only, for it may be a password in the wrong field."""
    return f"{kind}:{hashlib.sha256(key.encode()).hexdigest()[:32]}"


def take_try(session: Session, bucket: str, pace: Pace, now: datetime) -> None:
    """Use up one try. TooMany, with when to come back, if there is none left."""
    fresh = upsert(session, Tries).values(bucket=bucket, remaining=float(pace.burst), counted_at=now)
    session.execute(fresh.on_conflict_do_nothing(index_elements=["bucket"]))
    row = session.execute(select(Tries).where(Tries.bucket == bucket).with_for_update()).scalar_one()
    gained = max(0.0, (now - row.counted_at).total_seconds()) / pace.seconds_each
    left = min(float(pace.burst), row.remaining + gained)
    if left < 1.0:
        wait_s = math.ceil((1.0 - left) * pace.seconds_each)
        raise TooMany(f"too many tries; the next is taken in {wait_s} s", wait_s)
    row.remaining, row.counted_at = left - 1.0, now


def wait_left_s(session: Session, bucket: str, pace: Pace, now: datetime) -> float:
    """How long until there is a try again; 0 where there is one. Only looks: nothing is used up."""
    row = session.execute(select(Tries.remaining, Tries.counted_at).where(Tries.bucket == bucket)).one_or_none()
    if row is None:
        return 0.0
    left = row.remaining + max(0.0, (now - row.counted_at).total_seconds()) / pace.seconds_each
    return float(max(0.0, (1.0 - left) * pace.seconds_each))


def forgive(session: Session, buckets: Sequence[str], now: datetime) -> None:
    """Empty a bucket of its tries after it came right, and drop those that nobody has touched for days."""
    session.execute(delete(Tries).where(or_(Tries.bucket.in_(buckets), Tries.counted_at < now - FORGOTTEN_AFTER)))
