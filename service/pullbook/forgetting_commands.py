"""The commands about people who were forgotten: which, and once more after an older copy was restored."""

import argparse
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import select

from pullbook.db.connect import connect
from pullbook.db.leaving import Erasure
from pullbook.errors import Clash, FieldProblem, Invalid, NotFound
from pullbook.settings import Settings
from pullbook.shop.erasing import erase

Run = Callable[[Settings, argparse.Namespace], None]


def add_commands(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """`erasures list` and `erasures again`."""
    inner = commands.add_parser("erasures", help="customers who were forgotten").add_subparsers(
        required=True, metavar="WHAT"
    )
    listing = inner.add_parser("list", help="print the records of everybody who was forgotten, one to a line")
    listing.set_defaults(run=run_list)
    again = inner.add_parser("again", help="forget them once more, after an older copy was restored")
    again.add_argument("file", type=Path, help="what `erasures list` printed before")
    again.set_defaults(run=run_again)


def run_list(settings: Settings, _asked: argparse.Namespace) -> None:
    """Print ids: they name nobody, so the list may be kept anywhere."""
    with closing(connect(settings.database_url)) as database, database.reading() as session:
        for customer_id in session.scalars(select(Erasure.customer_id).distinct().order_by(Erasure.customer_id)):
            print(customer_id)


def run_again(settings: Settings, asked: argparse.Namespace) -> None:
    """Erase each of them; one that the older copy does not know was never in it.

    Clash, once all others are erased, where the copy is of a day on which a car of theirs was here.
    """
    try:
        listed = [line.strip() for line in asked.file.read_text("ascii").splitlines() if line.strip()]
    except (OSError, UnicodeDecodeError) as error:
        problem = FieldProblem("file", str(asked.file), "a file as `pullbook erasures list` prints it")
        raise Invalid(f"{asked.file} cannot be read: {error}", problem) from error
    unknown, here = 0, []
    with closing(connect(settings.database_url)) as database:
        for customer_id in listed:
            try:
                with database.writing() as session:
                    erase(session, datetime.now(UTC), None, customer_id, "once more, after a restore")
            except NotFound:
                unknown += 1
            except Clash as clash:
                here.append(f"{customer_id}: {clash.message}")
        database.empty_log()
    print(f"{len(listed) - unknown - len(here)} forgotten once more; {unknown} are not in this copy")
    if here:
        raise Clash("\n".join(["These are not forgotten yet. Do what stands beside each, then run this again.", *here]))
