"""The command that lists results which no longer say what was published: to be asked after a new version was put in."""

import argparse
from contextlib import closing
from datetime import UTC, datetime

from pullbook.db.connect import connect
from pullbook.settings import Settings
from pullbook.shop.rereading import Moved, amended_links


def add_commands(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """`results amended`."""
    inner = commands.add_parser("results", help="what customers were given").add_subparsers(
        required=True, metavar="WHAT"
    )
    listing = inner.add_parser("amended", help="list live links that say something else than when they were published")
    listing.set_defaults(run=run_amended, at=None)


def run_amended(settings: Settings, asked: argparse.Namespace) -> None:
    """Read every live link's pulls anew and say which pages tell their customers of a change. Changes nothing.

    `asked.at`: the time by which links are live; None for now.
    """
    with closing(connect(settings.database_url)) as database:
        found = amended_links(database, asked.at or datetime.now(UTC), settings.weather_stale_minutes)
    for one in found:
        print("\n".join(_lines(one)))
    plural = "" if len(found) == 1 else "s"
    print(f"{len(found)} live link{plural} with an amendment" if found else "no live link is amended")


def _lines(one: Moved) -> list[str]:
    of_setups = [change for change in one.changes if change.setup_id] or one.changes
    whys = "; ".join(dict.fromkeys(change.why for change in of_setups))
    head = f"Ticket {one.ticket_number}, {one.vehicle}, link {one.link.id}: {whys}"
    return [head, *(f"    {change.what}: was {change.was}, is {change.now}" for change in of_setups)]
