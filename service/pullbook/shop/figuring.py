"""Figures by which pulls are found: read like any curve, kept beside the pull, and never shown as a result.

Whatever a curve is made from marks its pulls due when it changes (triggers in `db/found_triggers`). Due ones are read
a batch at a time, when somebody looks for figures, or all of them by `pullbook archive rebuild`.
"""

from datetime import datetime
from typing import Any, cast

from sqlalchemy import Table, delete, exists, insert, select, update
from sqlalchemy.orm import Session

from pullbook.db.found import FoundDue, FoundFlag, FoundPull
from pullbook.db.people import Shop
from pullbook.measure import METHOD_VERSION
from pullbook.shop.loading import load_pulls
from pullbook.shop.reading import ReadPull, ReadSettings, read_loaded

AT_ONCE = 40
MOST_COUNTED = 1000
_PULL, _FLAG, _DUE = (cast("Table", kind.__table__) for kind in (FoundPull, FoundFlag, FoundDue))


def usual_standard(session: Session) -> str:
    """The standard that figures are found by: the shop's own."""
    return session.scalar(select(Shop.default_standard)) or ReadSettings().standard


def read_due(session: Session, most: int = AT_ONCE) -> int:
    """Read so many due pulls, the newest first; how many there were.

    They are taken off the list before anything is read: who changes what they are made from meanwhile waits, and
    puts them on it again.
    """
    newest = select(_DUE.c.pull_id).order_by(_DUE.c.pull_id.desc()).limit(most).with_for_update(skip_locked=True)
    due = session.execute(delete(_DUE).where(_DUE.c.pull_id.in_(newest)).returning(_DUE.c.pull_id)).scalars().all()
    if not due:
        return 0
    settings = ReadSettings(usual_standard(session))
    session.execute(delete(_FLAG).where(_FLAG.c.pull_id.in_(due)))
    flags: list[dict[str, Any]] = []
    for loaded in load_pulls(session, sorted(due)):
        read = read_loaded(loaded, settings)
        session.execute(update(_PULL).where(_PULL.c.pull_id == read.facts.id).values(_figures(read)))
        flags += [_flag(flag.code, read.facts.taken_at, read.facts.id) for flag in read.flags]
    if flags:
        session.execute(insert(_FLAG), flags)
    return len(due)


def _figures(read: ReadPull) -> dict[str, Any]:
    curve = read.curve
    headline = curve.headline if curve is not None else None
    air = curve.air if curve is not None else None
    return {
        "power_w": headline.peak_power_w.value if headline else None,
        "torque_nm": headline.peak_torque_nm.value if headline else None,
        "air_density_kg_m3": air.density_kg_m3 if air else None,
        "flag_count": len(read.flags),
        "standard": curve.standard if curve is not None else "",
        "method_version": METHOD_VERSION,
    }


def _flag(code: str, taken_at: datetime, pull_id: str) -> dict[str, Any]:
    return {"code": code, "taken_at": taken_at, "pull_id": pull_id}


def how_many_due(session: Session) -> int:
    """How many pulls are to be read, counted no further than a thousand and one."""
    return len(session.scalars(select(FoundDue.pull_id).limit(MOST_COUNTED + 1)).all())


def mark_older_methods(session: Session) -> None:
    """Put every pull on the list that was read by another method than today's."""
    older = select(_PULL.c.pull_id).where(
        _PULL.c.method_version != METHOD_VERSION, ~exists().where(_DUE.c.pull_id == _PULL.c.pull_id)
    )
    session.execute(insert(_DUE).from_select(["pull_id"], older))
