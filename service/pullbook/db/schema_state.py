"""How the schema in a database stands to the migrations in a folder, found without loading the migration tool."""

import re
from pathlib import Path

from sqlalchemy import URL, Engine, inspect, text

from pullbook.late_methods import dataclass

_REVISION = re.compile(r'^revision\b[^=]*=\s*"([^"]+)"', re.MULTILINE)
_DOWN = re.compile(r'^down_revision\b[^=]*=\s*(?:"([^"]+)"|None)', re.MULTILINE)


@dataclass(frozen=True)
class SchemaState:
    """Which migration the database is at, and which it should be at."""

    current: str | None
    head: str
    is_known: bool
    has_records: bool
    missing_file: str = ""  # where the database should be and nothing is

    @property
    def is_current(self) -> bool:
        """Whether the database is just as this version needs it."""
        return self.current == self.head

    @property
    def words(self) -> str:
        """The state in one plain sentence."""
        if self.is_current:
            return f"the schema is up to date ({self.head})"
        if not self.is_known:
            return (
                f"the database was made by a newer version of Pullbook (its schema is {self.current}, this version "
                f"knows up to {self.head}); start that version, or restore the copy made before it"
            )
        if self.missing_file:
            return f"there is no file {self.missing_file}; `pullbook migrate` makes it, with the tables"
        if self.current is None:
            return "the database is empty; `pullbook migrate` makes the tables"
        return f"the schema is at {self.current} and should be at {self.head}; `pullbook migrate` brings it there"


def known_revisions(migrations: Path) -> list[str]:
    """Every migration in the folder, oldest first."""
    after: dict[str | None, str] = {}
    for file in (migrations / "versions").glob("*.py"):
        words = file.read_text("utf-8")
        revision, down = _REVISION.search(words), _DOWN.search(words)
        if revision and down:
            after[down.group(1)] = revision.group(1)
    chain: list[str] = []
    step: str | None = None
    while step in after:
        step = after.pop(step)
        chain.append(step)
    return chain


def schema_state(engine: Engine, migrations: Path) -> SchemaState:
    """Compare the database with the folder of migrations. A file that is not there is not made by looking for it."""
    known = known_revisions(migrations)
    if _is_missing(engine.url):
        return SchemaState(None, known[-1], is_known=True, has_records=False, missing_file=str(engine.url.database))
    with engine.connect() as connection:
        names = set(inspect(connection).get_table_names())
        current = None
        if "alembic_version" in names:
            current = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    return SchemaState(current, known[-1], current is None or current in known, "staff" in names)


def _is_missing(url: URL) -> bool:
    """Whether this is the address of a SQLite file that does not exist; SQLite would make it, empty, to read in it."""
    file = url.database or ""
    return url.get_backend_name() == "sqlite" and not file.startswith("file:") and not Path(file).exists()
