"""The archive at ten thousand and at a million pulls: what pages, filters and search cost, as ratios.

Filling takes minutes, so it is done once: `ARCHIVE_SMALL` and `ARCHIVE_LARGE` name databases made by
`python -m tests.bench.filled`; without them a small and a larger one are made on SQLite, and the rows say their sizes.
"""

import os
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import timedelta
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from pullbook.db.connect import Database, connect
from pullbook.db.found import FoundModel, FoundPull, FoundTicket
from pullbook.db.migrating import migrate
from pullbook.db.stored_types import UtcTime
from pullbook.db.tables import Vehicle
from pullbook.settings import MIGRATIONS
from pullbook.shop.archiving import look
from pullbook.shop.narrowing import LookedFor
from pullbook.shop.outlining import outlines
from tests.bench.bare_statements import Statement, bare, statements_of
from tests.bench.filled import Sizes, fill
from tests.bench.rows import Row, best_s, medians_s, ms
from tests.bench.served import Client
from tests.bench.served_archive import served_archive

MADE_SMALL, MADE_LARGE = 10_000, 50_000
PAGE = 50


@contextmanager
def _opened() -> Iterator[tuple[Database, Database]]:
    small, large = os.environ.get("ARCHIVE_SMALL"), os.environ.get("ARCHIVE_LARGE")
    with tempfile.TemporaryDirectory() as folder:
        if not small or not large:
            small, large = (f"sqlite:///{Path(folder) / name}.sqlite3" for name in ("small", "large"))
            for address, pulls in ((small, MADE_SMALL), (large, MADE_LARGE)):
                migrate(address, MIGRATIONS)
                made = connect(address)
                fill(made, Sizes.of_pulls(pulls))
                made.close()
        for address in (small, large):
            migrate(address, MIGRATIONS)  # one that is kept may be of an earlier version
        pair = connect(small), connect(large)
        yield pair
        for one in pair:
            one.close()


def measure() -> Iterator[Row]:
    """Every row of the archive, on the two databases in turn."""
    with ExitStack() as stack:
        small, large = stack.enter_context(_opened())
        clients = [stack.enter_context(served_archive(one)) for one in (small, large)]
        few, many = (stack.enter_context(one.reading()) for one in (small, large))
        sizes = [session.scalar(select(func.count()).select_from(FoundPull)) for session in (few, many)]
        yield Row("pulls of the larger archive", float(sizes[1]), 0.0, "", least=True, note=f"against {sizes[0]}")
        yield from _pages(few, many)
        yield from _filters(many)
        yield from _search(few, many, clients[1])
        yield from _answers(*clients)


def _shown(session: Session, looked: LookedFor, cursor: str | None = None) -> Callable[[], Any]:
    def ask() -> Any:
        hits = look(session, looked, cursor, PAGE)
        return hits, outlines(session, hits.pull_ids)

    return ask


def _pages(few: Session, many: Session) -> Iterator[Row]:
    anything = LookedFor()
    count = many.scalar(select(func.count()).select_from(FoundPull)) or 0
    deep = many.execute(
        select(FoundPull.pull_id).order_by(FoundPull.taken_at).offset(count // 10).limit(1)
    ).scalar_one()
    second = look(many, anything, None, PAGE).next
    works = [
        _shown(few, anything),
        _shown(many, anything),
        _shown(many, anything, second),
        _shown(many, anything, deep),
    ]
    small, first, next_page, far = medians_s(works, repeats=20)
    yield Row(
        "newest page with its counts, × the small archive's", first / small, 2.0, note=f"{ms(small)} → {ms(first)}"
    )
    yield Row("second page, × first", next_page / first, 2.0, note=ms(next_page))
    yield Row("page at nine tenths, × first", far / first, 2.0, note=ms(far))


def _answers(few: Client, many: Client) -> Iterator[Row]:
    """The newest page as a browser has it."""
    small, large = medians_s([lambda: few.get("/api/v1/archive"), lambda: many.get("/api/v1/archive")], repeats=20)
    note = f"{ms(small)} → {ms(large)}"
    yield Row("newest page, HTTP answer, × the small archive's", large / small, 2.0, note=note)


def _filters(many: Session) -> Iterator[Row]:
    top = many.scalar(select(func.max(FoundPull.power_w))) or 0.0
    common = many.execute(
        select(FoundPull.model_id).group_by(FoundPull.model_id).order_by(func.count().desc()).limit(1)
    ).scalar_one()
    model = many.execute(select(FoundModel).where(FoundModel.id == common)).scalar_one()
    rare = many.scalar(select(func.min(FoundPull.power_w))) or 0.0
    days_ago = many.execute(select(func.max(FoundPull.taken_at, type_=UtcTime()))).scalar_one() - timedelta(days=90)
    narrow: dict[str, Any] = {"make": model.make, "power_from_w": 90_000.0, "power_to_w": 120_000.0}
    asked = {
        "first page": LookedFor(),
        "a make": LookedFor(make=model.make),
        "a common model": LookedFor(make=model.make, model=model.model),
        "a model year": LookedFor(model_year=2007),
        "a kind": LookedFor(kind="hold"),
        "the highest powers": LookedFor(power_from_w=top * 0.999),
        "the lowest powers": LookedFor(power_to_w=rare * 1.001),
        "usual powers": LookedFor(power_from_w=100_000.0, power_to_w=130_000.0),
        "a common flag": LookedFor(flag="weather_stale"),
        "a rare flag": LookedFor(flag="limit_passed"),
        "a make, 90 kW to 120 kW, set aside": LookedFor(**narrow, set_aside=True),
        "a make, 90 kW to 120 kW, 90 days": LookedFor(**narrow, taken_from=days_ago),
    }
    times = medians_s([_shown(many, looked) for looked in asked.values()], repeats=12)
    for name, took in list(zip(asked, times, strict=True))[1:]:
        most = (30.0 if many.get_bind().dialect.name == "sqlite" else 7.0) if "," in name else 5.0
        yield Row(f"only {name}, × first page", took / times[0], most, note=f"{ms(took)} to {ms(times[0])}")


@dataclass(frozen=True)
class Asked:
    """Something typed, what of a whole text's scan it may cost at the most, and by how much it may grow."""

    name: str
    typed: str
    scanned: tuple[str, ...]  # as LIKE finds it
    most: float = 0.02
    growth: float = 12.0


def _asked(session: Session) -> list[Asked]:
    car = session.execute(select(Vehicle.plate, Vehicle.vin).order_by(Vehicle.id).limit(1)).one()
    plate = "".join(filter(str.isalnum, car.plate.lower()))
    loose = {"most": 0.2, "growth": 70.0}
    return [
        Asked("a VIN's last eight", car.vin[-8:], (car.vin[-8:].lower(),)),
        Asked("a plate without its spaces", plate, (plate,)),
        Asked("a plate with its spaces", car.plate, (plate,)),
        Asked("a word that is nowhere", "zzyzxq", ("zzyzxq",)),
        Asked("first and last name", "ilse quellvik", ("ilse", "quellvik"), **loose),
        Asked("two words of different parts", "casimir supercharger", ("casimir", "supercharger"), **loose),
        Asked("a common word", "intake", ("intake",), **loose),
    ]


def _scan(session: Session, words: Sequence[str]) -> list[Statement]:
    """Every text read for these words. PostgreSQL's LIKE minds case and is faster: ILIKE is what people would write."""
    is_sqlite = session.get_bind().dialect.name == "sqlite"
    mark, like = ("?", "LIKE") if is_sqlite else ("%s", "ILIKE")
    held = " AND ".join(f"line {like} {mark}" for _ in words)
    return [(f"SELECT count(*) FROM found_ticket WHERE {held}", tuple(f"%{word}%" for word in words))]


def _search(few: Session, many: Session, client: Client) -> Iterator[Row]:
    """The target is held against the statements alone, as the scan is one; what stands around them is told beside.

    On SQLite both are timed by the processor, since they are this process's own work.
    """
    for small, large in zip(_asked(few), _asked(many), strict=True):
        ids, small_ids = (
            partial(look, session, LookedFor(words=one.typed), None, PAGE, count=False)
            for session, one in ((many, large), (few, small))
        )
        address = f"/api/v1/archive?{urlencode({'find': large.typed})}"
        alone, alone_small, scanned = best_s(
            [
                bare(many, statements_of(many, ids)),
                bare(few, statements_of(few, small_ids)),
                bare(many, _scan(many, large.scanned)),
            ],
            repeats=15,
            warm_ups=2,
            clock=time.process_time if many.get_bind().dialect.name == "sqlite" else time.perf_counter,
        )
        around = [ids, _shown(many, LookedFor(words=large.typed)), lambda address=address: client.get(address)]
        found, whole, answer = best_s(around, repeats=15, warm_ups=2)
        name = f"search: {large.name}"
        note = f"{ms(alone)} to {ms(scanned)}; in process {ms(found)}, with page and counts {ms(whole)}"
        yield Row(f"{name}, statements × scan", alone / scanned, large.most, note=note)
        yield Row(f"{name}, statements × the small archive's", alone / alone_small, large.growth, note=ms(alone_small))
        yield Row(f"{name}, HTTP answer × scan", answer / scanned, 0.0, least=True, note=f"{ms(answer)}, no target")
    tickets = many.scalar(select(func.count()).select_from(FoundTicket))
    yield Row("texts searched", float(tickets or 0), 0.0, "", least=True)
