"""How migrations meet a database: one connection, one transaction for all of them, looked at before it is kept."""

from pathlib import Path

from alembic import context

from pullbook.db import arrival, chain, found, joined, leaving, money, months, senders, tuning
from pullbook.db.evidence import Table
from pullbook.db.found_triggers import is_described
from pullbook.db.migrating import alone, migration_engine, read_address, upgrading
from pullbook.settings import Settings

DECLARED = (
    arrival,
    chain,
    found,
    joined,
    leaving,
    money,
    months,
    senders,
    tuning,
)  # loaded so that their tables stand in the metadata too
url = read_address(context.config.attributes.get("database_url") or Settings().database_url)
engine = migration_engine(url)
with alone(url), engine.connect() as connection, connection.begin():
    context.configure(
        connection=connection,
        target_metadata=Table.metadata,
        render_as_batch=True,
        compare_server_default=True,
        include_name=lambda name, _kind, _parents: is_described(name),
        # without this, a CHECK that is in the code and not in the database goes unnoticed
        autogenerate_plugins=["alembic.autogenerate.*", "alembic.ext.checkconstraint_byname"],
        # SQLite can undo a change of schema as well as PostgreSQL, once BEGIN is really sent
        transactional_ddl=True,
        transaction_per_migration=False,
        user_module_prefix="stored_types.",
    )
    with context.begin_transaction():
        upgrading(connection, Path(__file__).parent, context.run_migrations)
engine.dispose()
