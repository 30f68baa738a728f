"""The archive at ten thousand and at a million pulls: what pages, filters and search cost, as ratios.

Filling takes minutes, so it is done once: `ARCHIVE_SMALL` and `ARCHIVE_LARGE` name databases made by
`python -m tests.bench.filled`; without them a small and a larger one are made on SQLite, and the rows say their sizes.
"""

import os
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import func, select, text
from sqlalchemy.orm import Session

from pullbook.db.connect import Database, connect
from pullbook.db.found import FoundModel, FoundPull, FoundTicket
from pullbook.db.migrating import migrate
from pullbook.db.tables import Vehicle
from pullbook.settings import MIGRATIONS
from pullbook.shop.archiving import look
from pullbook.shop.narrowing import LookedFor
from pullbook.shop.outlining import outlines
from tests.bench.filled import Sizes, fill
from tests.bench.rows import Row, medians_s, ms

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
        pair = connect(small), connect(large)
        yield pair
        for one in pair:
            one.close()


def measure() -> Iterator[Row]:
    """Every row of the archive, on the two databases in turn."""
    with _opened() as (small, large), small.reading() as few, large.reading() as many:
        sizes = [session.scalar(select(func.count()).select_from(FoundPull)) for session in (few, many)]
        yield Row("pulls of the larger archive", float(sizes[1]), 0.0, "", least=True, note=f"against {sizes[0]}")
        yield from _pages(few, many)
        yield from _filters(many)
        yield from _search(many)


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


def _filters(many: Session) -> Iterator[Row]:
    top = many.scalar(select(func.max(FoundPull.power_w))) or 0.0
    common = many.execute(
        select(FoundPull.model_id).group_by(FoundPull.model_id).order_by(func.count().desc()).limit(1)
    ).scalar_one()
    model = many.execute(select(FoundModel).where(FoundModel.id == common)).scalar_one()
    rare = many.scalar(select(func.min(FoundPull.power_w))) or 0.0
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
        "a make, 90 kW to 120 kW, set aside": LookedFor(
            make=model.make, power_from_w=90_000.0, power_to_w=120_000.0, set_aside=True
        ),
    }
    times = medians_s([_shown(many, looked) for looked in asked.values()], repeats=12)
    for name, took in list(zip(asked, times, strict=True))[1:]:
        most = 30.0 if "," in name else 5.0
        yield Row(f"only {name}, × first page", took / times[0], most, note=f"{ms(took)} to {ms(times[0])}")


def _search(many: Session) -> Iterator[Row]:
    car = many.execute(select(Vehicle.plate, Vehicle.vin).order_by(Vehicle.id).limit(1)).one()

    def scan(*words: str) -> Callable[[], Any]:
        place = "instr" if many.get_bind().dialect.name == "sqlite" else "strpos"
        held = " AND ".join(f"{place}(line, :word{number}) > 0" for number in range(len(words)))
        statement = text(f"SELECT count(*) FROM found_ticket WHERE {held}")
        return lambda: many.execute(statement, {f"word{number}": word for number, word in enumerate(words)}).all()

    for name, typed, most in (
        ("a VIN's last eight", car.vin[-8:], 0.02),
        ("a plate with its spaces", car.plate, 0.02),
        ("a word that is nowhere", "zzyzxq", 0.02),
        ("first and last name", "ilse quellvik", 0.2),
        ("two words of different parts", "casimir supercharger", 0.2),
        ("a common word", "intake", 0.2),
    ):
        words = typed.lower().split() if most > 0.1 else ["".join(filter(str.isalnum, typed.lower()))]
        looked = LookedFor(words=typed)
        works = [lambda looked=looked: look(many, looked, None, PAGE, count=False), _shown(many, looked), scan(*words)]
        ids, whole, scanned = medians_s(works, repeats=8, warm_ups=2)
        yield Row(f"search: {name}, the ids, × scan", ids / scanned, most, note=f"{ms(ids)} to {ms(scanned)}")
        yield Row(f"search: {name}, page and counts, × scan", whole / scanned, most, note=ms(whole))
    tickets = many.scalar(select(func.count()).select_from(FoundTicket))
    yield Row("texts searched", float(tickets or 0), 0.0, "", least=True)
