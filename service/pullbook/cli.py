"""The commands: serve, migrate, db-status, check, staff. Each says in a sentence what it did or why it did not."""

import argparse
import getpass
import os
import sys
from collections.abc import Sequence
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

from pydantic import ValidationError
from sqlalchemy import exc as sql

from pullbook import (
    __version__,
    archive_commands,
    backup_commands,
    forgetting_commands,
    month_commands,
    results_commands,
)
from pullbook.chain_commands import add_chain_commands, begin_chain, key_doubt
from pullbook.db.connect import Database, DatabaseAddressError, connect, sqlite_doubt
from pullbook.db.migrating import MigrationError, migrate
from pullbook.db.people import ROLES
from pullbook.db.schema_state import SchemaState, schema_state
from pullbook.errors import ShopError
from pullbook.health import LEAST_FREE_BYTES, free_space_bytes
from pullbook.serving import PortTakenError, listen, serve
from pullbook.settings import MIGRATIONS, Settings
from pullbook.shop import signing_in


class Refusal(Exception):  # noqa: N818  it is said to a person, not raised at one
    """Why a command does not do what it was asked, in one plain sentence."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command. Returns 0, or 1 with a sentence on standard error."""
    asked = _parser().parse_args(arguments)
    os.umask(0o077)  # customers' names are in the database: what is made here is for the service's own user
    try:
        asked.run(Settings(), asked)
    except ValidationError as error:
        for fault in error.errors():
            name = "PULLBOOK_" + "_".join(str(part) for part in fault["loc"]).upper()
            print(f"pullbook: {name} = {fault.get('input')!r} will not do: {fault['msg']}", file=sys.stderr)
        return 1
    except ShopError as error:
        print(f"pullbook: {error.message}", file=sys.stderr)
        return 1
    except (Refusal, MigrationError, DatabaseAddressError, PortTakenError) as error:
        print(f"pullbook: {error}", file=sys.stderr)
        return 1
    except sql.DBAPIError as error:
        print(f"pullbook: the database cannot be used: {str(error.orig).strip()}", file=sys.stderr)
        return 1
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="pullbook", description="A performance shop's own record of pulls.")
    parser.add_argument("--version", action="version", version=f"pullbook {__version__}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    serving = commands.add_parser("serve", help="answer browsers and the API")
    serving.add_argument("--migrate", action="store_true", help="bring the database to this version's schema first")
    serving.set_defaults(run=run_serve)
    commands.add_parser("migrate", help="bring the database to this version's schema").set_defaults(run=run_migrate)
    commands.add_parser("db-status", help="say how the database's schema stands").set_defaults(run=run_status)
    commands.add_parser("check", help="say whether everything is ready to serve").set_defaults(run=run_check)
    add_chain_commands(commands)
    staff = commands.add_parser("staff", help="who works here").add_subparsers(required=True, metavar="WHAT")
    first = staff.add_parser("first-link", help="print the one-time link by which the first owner comes in")
    first.set_defaults(run=run_first_link)
    adding = staff.add_parser("add", help="add a member of staff; the password is asked for, or read from a pipe")
    adding.add_argument("sign_in_name", help="what they sign in with")
    adding.add_argument("full_name", help="their name as others see it")
    adding.add_argument("--role", choices=ROLES, default="front_desk", help="what they may do")
    adding.set_defaults(run=run_add)
    forgetting_commands.add_commands(commands)
    month_commands.add_commands(commands)
    archive_commands.add_commands(commands)
    backup_commands.add_commands(commands)
    results_commands.add_commands(commands)
    return parser


def run_migrate(settings: Settings, _asked: argparse.Namespace) -> None:
    """Bring the database to this version's schema."""
    print(migrate(settings.database_url, MIGRATIONS))


def run_status(settings: Settings, _asked: argparse.Namespace) -> None:
    """Say how the schema stands; a refusal when it is not as it should be."""
    with closing(connect(settings.database_url)) as database:
        state = schema_state(database.reader, MIGRATIONS)
    print(state.words)
    if not state.is_current:
        raise Refusal("not ready to serve")


def run_check(settings: Settings, _asked: argparse.Namespace) -> None:
    """Everything that serving needs, looked at one by one."""
    with closing(connect(settings.database_url)) as database:
        state = _ready(database)
        doubts = [sqlite_doubt() if database.is_sqlite else None, _unsigned(settings, database), _open_files(database)]
    free_bytes = free_space_bytes(settings)
    if free_bytes < LEAST_FREE_BYTES:
        raise Refusal(f"only {free_bytes} bytes of disk are left where {settings.data_dir} is")
    print(f"{state.words}; the records can be written; {free_bytes // 1_000_000} MB of disk are free")
    for doubt in filter(None, doubts):
        print(f"but: {doubt}")


def run_serve(settings: Settings, asked: argparse.Namespace) -> None:
    """Serve until told to stop."""
    if asked.migrate:
        print(migrate(settings.database_url, MIGRATIONS), flush=True)
    with closing(connect(settings.database_url)) as database:
        _ready(database)
        if database.is_sqlite and (doubt := sqlite_doubt()):
            print(f"pullbook: {doubt}", file=sys.stderr)
        begin_chain(settings, database)
        if doubt := _unsigned(settings, database):
            print(f"pullbook: {doubt}", file=sys.stderr)
        listening = listen(settings.listen_host, settings.listen_port)
        with database.reading() as session:
            is_new = not signing_in.anybody_works_here(session)
        if is_new:
            print(_first_link(settings, database), flush=True)
    month_commands.count_if_never(settings)
    serve(settings, listening)


def run_first_link(settings: Settings, _asked: argparse.Namespace) -> None:
    """Print the one-time link by which the first owner comes in."""
    with closing(connect(settings.database_url)) as database:
        _ready(database)
        print(_first_link(settings, database))


def run_add(settings: Settings, asked: argparse.Namespace) -> None:
    """Add a member of staff."""
    with closing(connect(settings.database_url)) as database:
        _ready(database)
        password = getpass.getpass("Password: ") if sys.stdin.isatty() else sys.stdin.readline().rstrip("\r\n")
        with database.writing() as session:
            person = signing_in.add_staff(
                session,
                datetime.now(UTC),
                None,
                sign_in_name=asked.sign_in_name,
                full_name=asked.full_name,
                role=asked.role,
                password=password,
            )
    print(f"{person.full_name} can sign in as {person.sign_in_name} ({person.role})")


def _unsigned(settings: Settings, database: Database) -> str | None:
    doubt = key_doubt(settings, database)
    return f"receipts are not signed: {doubt}" if doubt else None


def _open_files(database: Database) -> str | None:
    """Which files of the database others on this machine may read: those that an older version made, or a copy."""
    if not database.is_sqlite or os.name != "posix":
        return None
    file = str(database.url.database)
    places = [Path(file + ending) for ending in ("", "-wal", "-shm")]
    wide = " ".join(str(place) for place in places if place.exists() and place.stat().st_mode & 0o077)
    return f"others on this machine may open the records; `chmod 600 {wide}` keeps them out" if wide else None


def _first_link(settings: Settings, database: Database) -> str:
    with database.writing() as session:
        token = signing_in.invite_first_owner(session, datetime.now(UTC))
    return f"Set up your shop within 30 minutes: {settings.public_url}/set-up/{token}"


def _ready(database: Database) -> SchemaState:
    """The schema is this version's and the records can be written; a refusal, or the database's own words, when not."""
    state = schema_state(database.reader, MIGRATIONS)
    if not state.is_current:
        raise Refusal(state.words)
    database.prove_writable()
    return state
