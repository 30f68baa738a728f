"""Foreseeing: which live results links would say something else if a change were saved, without saving it."""

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session

from pullbook.db.connect import Database
from pullbook.db.evidence import Pull
from pullbook.late_methods import dataclass
from pullbook.shop.amending import changes_between, published_of
from pullbook.shop.loading import Loaded, in_force, load_pulls
from pullbook.shop.rereading import LinkShown, Moved, live_links, moved, reread
from pullbook.shop.weather_matching import nearest_after, nearest_before

MOST_WORKED_OUT = 40  # links: of the rest it is said that there are so many more


@dataclass(frozen=True, slots=True)
class Foreseen:
    """Links that would say something else, newest first. `further`: how many more are touched and not worked out."""

    links: tuple[Moved, ...]
    further: int


class _UndoneError(Exception):
    """Ends the transaction in which a change was tried."""


_IDS: Any = bindparam("ids", expanding=True)
# what a pull is read from, as far as any change to one record can move it: ids alone, no file is opened for this
_READ_FROM = select(
    Pull.id,
    Pull.state,
    Pull.channel_map_id,
    Pull.set_aside_at,
    in_force(),
    nearest_before(Pull.cell_id, Pull.taken_at),
    nearest_after(Pull.cell_id, Pull.taken_at),
).where(Pull.id.in_(_IDS))


def foresee(
    database: Database, now: datetime, weather_stale_minutes: int, write: Callable[[Session], object]
) -> Foreseen:
    """Do it, look, undo it. What `write` raises for a change that cannot be saved is raised here too.

    The very statements of the real change run, so the two cannot part; the lock is held for statements only, and all
    calculating is done after it is let go.
    """
    links: list[LinkShown] = []
    after: list[list[Loaded]] = []
    touched: list[LinkShown] = []
    try:
        with database.writing() as session:
            links = live_links(session, now)
            ids = sorted({pull_id for link in links for pull_id in link.pull_ids})
            was = _read_from(session, ids)
            write(session)
            session.flush()
            here = _read_from(session, ids)
            changed = {pull_id for pull_id in ids if was.get(pull_id) != here.get(pull_id)}
            touched = [link for link in links if changed & set(link.pull_ids)]
            after = [load_pulls(session, link.pull_ids) for link in touched[:MOST_WORKED_OUT]]
            raise _UndoneError
    except _UndoneError:
        pass
    with database.reading() as session:
        before = [load_pulls(session, link.pull_ids) for link in touched[:MOST_WORKED_OUT]]
    pairs = zip(touched, before, after, strict=False)
    found = (_moved(link, was_one, is_one, weather_stale_minutes) for link, was_one, is_one in pairs)
    return Foreseen(tuple(one for one in found if one is not None), max(0, len(touched) - MOST_WORKED_OUT))


def _read_from(session: Session, pull_ids: Sequence[str]) -> dict[str, tuple[Any, ...]]:
    if not pull_ids:
        return {}
    return {row[0]: tuple(row[1:]) for row in session.execute(_READ_FROM, {"ids": pull_ids})}


def _moved(link: LinkShown, was: Sequence[Loaded], here: Sequence[Loaded], stale_minutes: int) -> Moved | None:
    """What the page would say otherwise than it says now; None where nothing that it shows would move."""
    shown, coming = (reread(one, link, stale_minutes) for one in (was, here))
    changes = changes_between(published_of(shown), published_of(coming), coming)
    return moved(link, coming, changes) if changes else None
