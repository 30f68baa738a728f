"""The commands that take a backup and put one back: one plain zip, from either engine into either."""

import argparse
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

from pullbook import __version__
from pullbook.chain_commands import key_doubt, records
from pullbook.db.connect import connect, read_address
from pullbook.db.migrating import migrate
from pullbook.db.schema_state import known_revisions, schema_state
from pullbook.errors import NotReady
from pullbook.settings import MIGRATIONS, Settings
from pullbook.shop.attesting import trusted_signer
from pullbook.shop.backing_up import back_up
from pullbook.shop.restoring import read_bundle, restore


def add_commands(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """`backup TO` and `restore FROM`."""
    backup = commands.add_parser("backup", help="write everything on record into one zip, while the service runs")
    backup.add_argument("to", type=Path, metavar="TO", help="a file that is not there yet, or a folder")
    backup.set_defaults(run=run_backup)
    restoring = commands.add_parser("restore", help="load such a zip into a new, empty database of either engine")
    restoring.add_argument("zip", type=Path, metavar="FROM", help="what `pullbook backup` wrote")
    restoring.set_defaults(run=run_restore)


def run_backup(settings: Settings, asked: argparse.Namespace) -> None:
    """Write the bundle, and say what is in it, what is not, and where the chain stands."""
    now = datetime.now(UTC)
    with records(settings) as database:
        made = back_up(database, trusted_signer(database, settings.signing_key, now), now, asked.to, __version__)
        doubt = key_doubt(settings, database)
    print(
        f"{made.path} is whole: {made.rows} rows, {made.size_bytes / 1e6:.1f} MB. It is not encrypted and holds names."
    )
    print(f"Not in it: the keys. Copy each apart: {settings.signing_key} and {settings.link_key_path}.")
    print(f"The chain's head just then, to be kept where neither this server nor the backup is:\n\n{made.head}", end="")
    if doubt:
        print(f"\nIt is not signed: {doubt.rstrip('.')}.")


def run_restore(settings: Settings, asked: argparse.Namespace) -> None:
    """Read the bundle through, make the tables where there are none, and load it."""
    url = read_address(settings.database_url)
    bundle = read_bundle(asked.zip, known_revisions(MIGRATIONS))
    with closing(connect(settings.database_url)) as database:
        state = schema_state(database.reader, MIGRATIONS)
    if state.current is None:
        migrate(settings.database_url, MIGRATIONS)
    elif not state.is_current:
        raise NotReady(state.words)
    restore(url, bundle)
    print(f"{bundle.rows} rows are back as they were at {bundle.made_at}; everybody signs in anew.")
    print(f"Put the keys back from their own copies: {settings.signing_key} and {settings.link_key_path}.")
    print(f"Then: pullbook verify --anchors {asked.zip}")
    print("Whoever was forgotten since: pullbook erasures again LIST")
