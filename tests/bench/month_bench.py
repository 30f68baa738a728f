"""The owner's months: the same page of a small shop and of a large one, and against counting when it is asked for.

`PULLBOOK_BENCH_PULLS` says how many pulls the large one has (a million), `PULLBOOK_BENCH_KEPT` a folder in which the
SQLite files are kept from one run to the next. Where `ARCHIVE_SMALL` and `ARCHIVE_LARGE` name filled databases,
these are taken and no others. The months are counted by the service's own command.
"""

import os
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

from sqlalchemy import text

from pullbook.db.connect import Database, connect
from pullbook.db.migrating import migrate
from pullbook.settings import MIGRATIONS
from pullbook.shop.keeping_count import is_counted, rebuild
from pullbook.shop.looking_back import months_and_not_over, months_back
from tests.bench.filled import UNTIL, Sizes, fill
from tests.bench.rows import Row, median_s, medians_s, ms
from tests.postgres import postgres_server

SMALL, LARGE = 10_000, int(os.environ.get("PULLBOOK_BENCH_PULLS", "1000000"))
LAST = f"{UNTIL:%Y-%m}"
ON_ASKING = {
    # pulls by month alone, as the date functions of each engine have them: one of the page's twenty figures
    "sqlite": "SELECT strftime('%Y-%m', taken_at) AS month, count(*) FROM pull GROUP BY month",
    "postgresql": "SELECT to_char(taken_at AT TIME ZONE 'Europe/Vienna', 'YYYY-MM') AS month, count(*) FROM pull "
    "GROUP BY month",
}


def measure() -> Iterator[Row]:
    """On SQLite, then on PostgreSQL; or on what is there already."""
    there = [os.environ.get(name, "") for name in ("ARCHIVE_SMALL", "ARCHIVE_LARGE")]
    if all(there):
        small, large = (_counted(url, pulls) for url, pulls in zip(there, (SMALL, LARGE), strict=True))
        yield from _rows(large.url.get_backend_name(), small, large)
        return
    with ExitStack() as stack:
        folder = Path(os.environ.get("PULLBOOK_BENCH_KEPT") or stack.enter_context(tempfile.TemporaryDirectory()))
        names = [f"sqlite:///{folder}/months_{pulls}.sqlite3" for pulls in (SMALL, LARGE)]
        yield from _rows("sqlite", *(_counted(url, pulls) for url, pulls in zip(names, (SMALL, LARGE), strict=True)))
        server = stack.enter_context(postgres_server())
        urls = [server.url(server.create("template0")) for _ in range(2)]
        yield from _rows("postgresql", *(_counted(url, pulls) for url, pulls in zip(urls, (SMALL, LARGE), strict=True)))


def _counted(url: str, pulls: int) -> Database:
    """A shop of that size with its months counted; one that is kept from an earlier run is taken as it is."""
    migrate(url, MIGRATIONS)
    database = connect(url)
    with database.reading() as session:
        there = session.execute(text("SELECT count(*) FROM (SELECT 1 FROM pull LIMIT 1) AS one")).scalar_one()
        counted = is_counted(session) and months_back(session, LAST, 12)[0].figures["pulls"] > 0
    if not there:
        fill(database, Sizes.of_pulls(pulls), texts=False)
    if not counted:
        with database.writing() as session:
            rebuild(session)
    return database


def _pulls(database: Database) -> int:
    with database.reading() as session:
        return int(session.execute(text("SELECT count(*) FROM pull")).scalar_one())


def _rows(engine: str, small: Database, large: Database) -> Iterator[Row]:
    def page(database: Database) -> None:
        with database.reading() as session:
            months_and_not_over(session, LAST, 24)

    def on_asking() -> None:
        with large.reading() as session:
            session.execute(text(ON_ASKING[engine])).all()

    few, many = medians_s([lambda: page(small), lambda: page(large)], 200, 20)
    asked = median_s(on_asking, 5, 1)
    sizes = f"{_pulls(small)} to {_pulls(large)} pulls"
    yield Row(f"owner's 24 months, {engine}, {sizes}", many / few, 1.5, note=f"{ms(few)} to {ms(many)}")
    note = f"{ms(many)} to {ms(asked)}"
    yield Row(f"owner's 24 months, {engine}, × pulls by date function", many / asked, 0.005, note=note)
    for database in (small, large):
        database.close()
