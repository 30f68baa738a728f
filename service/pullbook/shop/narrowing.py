"""Narrowing down: which pulls have the figures, the car, the day or the flag that is asked for, from the best index.

A figure's index is used where few pulls have it, and left alone where many do, since walking back in time then ends
soon; the planner of SQLite cannot tell, so the figure is hidden from it as a sum.
"""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import CTE, ColumnElement, exists, func, literal_column, select, tuple_, union_all
from sqlalchemy.orm import Session

from pullbook.db.found import FoundFlag, FoundModel, FoundPull
from pullbook.late_methods import dataclass
from pullbook.shop.wording import clean

FEW = 2000  # ids that are sorted as they come rather than met one by one
MOST_HEADS = 60  # models of one make that are each walked back by themselves
HIT = (FoundPull.pull_id, FoundPull.number, FoundPull.taken_at, FoundPull.setup_id, FoundPull.model_id)
COLUMNS = (*HIT, FoundPull.model_year)
IN_TIME = (FoundPull.taken_at, FoundPull.pull_id)
_NOTHING: Any = literal_column("0")


@dataclass(frozen=True, slots=True)
class LookedFor:
    """What somebody looks for. Empty or None: anything will do. Power in W and torque in N·m, at the rollers."""

    words: str = ""
    make: str = ""
    model: str = ""
    model_year: int | None = None
    taken_from: datetime | None = None
    taken_before: datetime | None = None
    power_from_w: float | None = None
    power_to_w: float | None = None
    torque_from_nm: float | None = None
    torque_to_nm: float | None = None
    flag: str = ""
    cell_id: str = ""
    kind: str = ""
    set_aside: bool | None = None

    @property
    def asks_figures(self) -> bool:
        """Whether it depends on what pulls gave when they were last read."""
        figures = (self.power_from_w, self.power_to_w, self.torque_from_nm, self.torque_to_nm)
        return bool(self.flag) or any(figure is not None for figure in figures)


def models_asked(session: Session, looked: LookedFor) -> list[str] | None:
    """The ids of the makes and models asked for; None where any will do."""
    if not looked.make and not looked.model:
        return None
    statement = select(FoundModel.id).order_by(FoundModel.id)
    if looked.make:
        statement = statement.where(FoundModel.make_key == clean(looked.make))
    if looked.model:
        statement = statement.where(FoundModel.model_key == clean(looked.model))
    return list(session.scalars(statement))


def ranges(looked: LookedFor) -> list[list[ColumnElement[bool]]]:
    """The ranges of figures asked for, each as conditions that an index can answer."""
    told = (
        (FoundPull.power_w, looked.power_from_w, looked.power_to_w),
        (FoundPull.torque_nm, looked.torque_from_nm, looked.torque_to_nm),
    )
    return [found for column, low, high in told if (found := _between(column, low, high))]


def _between(column: Any, low: float | None, high: float | None) -> list[ColumnElement[bool]]:
    return [*([column >= low] if low is not None else []), *([column <= high] if high is not None else [])]


def _between_times(looked: LookedFor) -> list[ColumnElement[bool]]:
    earliest = [FoundPull.taken_at >= looked.taken_from] if looked.taken_from is not None else []
    return [*earliest, *([FoundPull.taken_at < looked.taken_before] if looked.taken_before is not None else [])]


def conditions(looked: LookedFor, model_ids: Sequence[str] | None) -> list[ColumnElement[bool]]:
    """Everything asked but words and flag, with no figure's index to be chosen."""
    found = [
        *_between(FoundPull.power_w + _NOTHING, looked.power_from_w, looked.power_to_w),
        *_between(FoundPull.torque_nm + _NOTHING, looked.torque_from_nm, looked.torque_to_nm),
        *_between_times(looked),
    ]
    if model_ids is not None:
        found.append(FoundPull.model_id.in_(model_ids))
    if looked.model_year is not None:
        found.append(FoundPull.model_year == looked.model_year)
    if looked.cell_id:
        found.append(FoundPull.cell_id == looked.cell_id)
    if looked.kind:
        found.append(FoundPull.kind == looked.kind)
    if looked.set_aside is not None:  # spelt out: an index of some rows alone is not chosen for a value yet to come
        is_not = ~FoundPull.set_aside
        found.append(~is_not if looked.set_aside else is_not)
    return found


def few_with(session: Session, looked: LookedFor, model_ids: Sequence[str] | None, *, any_filter: bool) -> CTE | None:
    """The pulls that meet the first condition which few do; None where none is so narrow.

    Only figures and flag are tried, unless `any_filter`: the rest can be walked back in time by an index of its own.
    """
    tries = [select(FoundPull.pull_id).where(*one) for one in ranges(looked)]
    if looked.flag:
        tries.append(select(FoundFlag.pull_id).where(FoundFlag.code == looked.flag))
    if any_filter:
        tries += [select(FoundPull.pull_id).where(*one) for one in _others(looked, model_ids)]
    for one in tries:
        if len(session.execute(select(literal_column("1")).select_from(one.limit(FEW + 1).subquery())).all()) <= FEW:
            return one.cte("few").prefix_with("MATERIALIZED")
    return None


def _others(looked: LookedFor, model_ids: Sequence[str] | None) -> list[list[ColumnElement[bool]]]:
    found: list[list[ColumnElement[bool]]] = [times] if (times := _between_times(looked)) else []
    found += [[FoundPull.model_id.in_(model_ids)]] if model_ids is not None else []
    found += [[FoundPull.model_year == looked.model_year]] if looked.model_year is not None else []
    found += [[FoundPull.cell_id == looked.cell_id]] if looked.cell_id else []
    return found + ([[FoundPull.kind == looked.kind]] if looked.kind else [])


def flagged(looked: LookedFor) -> list[ColumnElement[bool]]:
    """That a pull carries the flag asked for, where one is."""
    if not looked.flag:
        return []
    there = exists().where(
        FoundFlag.code == looked.flag, FoundFlag.taken_at == FoundPull.taken_at, FoundFlag.pull_id == FoundPull.pull_id
    )
    return [there]


def newest(
    session: Session, looked: LookedFor, model_ids: Sequence[str] | None, key: Sequence[Any] | None, limit: int
) -> Sequence[Any]:
    """Up to so many pulls without regard to words, the latest taken first, from the key on. Rows of `COLUMNS`."""
    few = few_with(session, looked, model_ids, any_filter=False)
    return session.execute(_newest(looked, model_ids, few, key, limit)).all()


def newest_grouped(
    session: Session, looked: LookedFor, model_ids: Sequence[str] | None, limit: int
) -> list[tuple[str | None, int | None, int]]:
    """The same, counted by model and model year instead of told one by one."""
    few = few_with(session, looked, model_ids, any_filter=False)
    found = _newest(looked, model_ids, few, None, limit).subquery()
    grouped: Any = select(found.c.model_id, found.c.model_year, func.count()).group_by("model_id", "model_year")
    return [(model_id, year, count) for model_id, year, count in session.execute(grouped)]


def _newest(
    looked: LookedFor, model_ids: Sequence[str] | None, few: CTE | None, key: Sequence[Any] | None, limit: int
) -> Any:
    asked = conditions(looked, model_ids)
    after = [tuple_(*IN_TIME) < tuple_(*key, types=[one.type for one in IN_TIME])] if key is not None else []
    if few is not None:
        statement = select(*COLUMNS).join(few, few.c.pull_id == FoundPull.pull_id)
        return _in_time(statement.where(*asked, *after, *flagged(looked)), limit)
    if looked.flag:
        return _flagged_in_time(looked, model_ids, key, limit)
    if looked.set_aside:  # by the index of the few that are: no other may be chosen before it
        hidden = [] if model_ids is None else [(FoundPull.model_id + _NOTHING).in_(model_ids)]
        return _in_time(select(*COLUMNS).where(*conditions(looked, None), *hidden, *after), limit)
    if model_ids is not None and 1 < len(model_ids) <= MOST_HEADS:
        return _heads(model_ids, [*conditions(looked, None), *after], limit)
    return _in_time(select(*COLUMNS).where(*asked, *after), limit)


def _in_time(statement: Any, limit: int) -> Any:
    return statement.order_by(*(column.desc() for column in IN_TIME)).limit(limit)


def _heads(model_ids: Sequence[str], rest: Sequence[ColumnElement[bool]], limit: int) -> Any:
    """The newest of each model, merged: a make is walked back model by model, in what the index holds alone."""
    heads: list[Any] = [
        select(_in_time(select(*IN_TIME).where(FoundPull.model_id == one, *rest), limit).subquery())
        for one in model_ids
    ]
    every: Any = union_all(*heads).subquery()
    first = select(every.c.pull_id).order_by(every.c.taken_at.desc(), every.c.pull_id.desc()).limit(limit)
    merged = first.cte("merged").prefix_with("MATERIALIZED")
    return _in_time(select(*COLUMNS).join(merged, merged.c.pull_id == FoundPull.pull_id), limit)


def _flagged_in_time(looked: LookedFor, model_ids: Sequence[str] | None, key: Sequence[Any] | None, limit: int) -> Any:
    """Walked back along the flag's own index."""
    order = (FoundFlag.taken_at, FoundFlag.pull_id)
    statement = select(*COLUMNS).join(FoundFlag, FoundFlag.pull_id == FoundPull.pull_id)
    statement = statement.where(FoundFlag.code == looked.flag, *conditions(looked, model_ids))
    if key is not None:
        statement = statement.where(tuple_(*order) < tuple_(*key, types=[column.type for column in order]))
    return statement.order_by(*(column.desc() for column in order)).limit(limit)
