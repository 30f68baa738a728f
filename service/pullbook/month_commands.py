"""The command that counts every month anew: after a restore, a new version, or when somebody doubts a figure."""

import argparse
from contextlib import closing

from pullbook.db.connect import connect
from pullbook.settings import Settings
from pullbook.shop.keeping_count import is_counted, kept_rows, rebuild


def add_commands(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """`months rebuild`."""
    inner = commands.add_parser("months", help="what the shop did, month by month").add_subparsers(
        required=True, metavar="WHAT"
    )
    inner.add_parser("rebuild", help="count every month anew from the records").set_defaults(run=run_rebuild)


def run_rebuild(settings: Settings, _asked: argparse.Namespace) -> None:
    """Count everything in one transaction; what is on record stays as it is, and whoever writes waits meanwhile."""
    with closing(connect(settings.database_url)) as database, database.writing() as session:
        was_counted, before = is_counted(session), kept_rows(session, sums_only=True)
        tickets = rebuild(session)
        same = kept_rows(session, sums_only=True) == before
    if was_counted:
        found = "it comes to what was kept" if same else "what was kept was otherwise, and is put right"
        print(f"{_tickets(tickets)} counted; {found}")
    else:
        print(f"{_tickets(tickets)} counted")


def count_if_never(settings: Settings) -> None:
    """Before serving: count months where an older version left them uncounted."""
    with closing(connect(settings.database_url)) as database:
        with database.reading() as session:
            counted = is_counted(session)
        if not counted:
            with database.writing() as session:
                tickets = rebuild(session)
            print(f"the months of {_tickets(tickets)} are counted", flush=True)


def _tickets(count: int) -> str:
    return f"{count} ticket{'' if count == 1 else 's'}"
