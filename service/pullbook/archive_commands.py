"""Commands about what the archive finds by: made again from the records, in batches that are each kept."""

import argparse
from collections.abc import Iterator
from contextlib import closing

from pullbook.db.connect import Database, connect
from pullbook.settings import Settings
from pullbook.shop.figuring import mark_older_methods, read_due
from pullbook.shop.indexing import make_pulls_again, make_words_again, tidy_words

TOLD_EVERY = 2000


def add_commands(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """`pullbook archive …`."""
    archive = commands.add_parser("archive", help="what pulls are found by").add_subparsers(
        required=True, metavar="WHAT"
    )
    rebuild = archive.add_parser("rebuild", help="make search texts and figures again from the records")
    rebuild.add_argument("--words-only", action="store_true", help="only the texts; no pull is read")
    rebuild.set_defaults(run=run_rebuild)
    renew = archive.add_parser("renew", help="read the pulls whose figures are out of date")
    renew.set_defaults(run=run_renew)


def run_rebuild(settings: Settings, asked: argparse.Namespace) -> None:
    """Everything from nothing. May be stopped and run again: what is left to be read stays on the list."""
    with closing(connect(settings.database_url)) as database:
        tickets = sum(1 for _ in words_again(database))
        if asked.words_only:
            print(f"the texts of all tickets were written again, in {tickets} batches")
            return
        with database.writing() as session:
            make_pulls_again(session)
        print(f"{_read_all(database)} pulls were read again")


def run_renew(settings: Settings, _asked: argparse.Namespace) -> None:
    """Those that changed since, and those that another version's method read; word indexes are tidied."""
    with closing(connect(settings.database_url)) as database:
        with database.writing() as session:
            tidy_words(session)
            mark_older_methods(session)
        print(f"{_read_all(database)} pulls were read again")


def words_again(database: Database) -> Iterator[int]:
    """Write every ticket's text again, a batch to a transaction; gives the last number of each batch."""
    above: int | None = 0
    while above is not None:
        with database.writing() as session:
            above = make_words_again(session, above)
        if above is not None:
            yield above


def _read_all(database: Database) -> int:
    done = 0
    while True:
        with database.writing() as session:
            read = read_due(session)
        if not read:
            return done
        if (done + read) // TOLD_EVERY > done // TOLD_EVERY:
            print(f"{done + read} pulls …", flush=True)
        done += read
