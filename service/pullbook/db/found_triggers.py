"""Triggers that keep the finding rows in step with the records, however these are written; on SQLite and PostgreSQL.

A change to what a ticket is found by marks the ticket late, and the service writes its text anew before it commits.
A change to what a pull's figures are made from marks the pull due. A migration that rebuilds one of these tables on
SQLite loses its triggers with it: `restore_triggers` sets them again.
"""

from sqlalchemy import Connection

_TICKETS = "INSERT INTO found_late (ticket_id) SELECT id FROM ticket WHERE {where} ORDER BY id"
_PULLS = "INSERT INTO found_due (pull_id) SELECT pull_id FROM found_pull WHERE {where} ORDER BY pull_id"
_STANDING = "NOT EXISTS (SELECT 1 FROM weather_reading newer WHERE newer.supersedes_id = near.id)"
_OF_TICKET = "number = (SELECT number FROM ticket WHERE id = {id})"


def _around(told: str) -> str:
    """Pulls that a reading at the time `told` may be the nearest to: those between its standing neighbours."""
    near = "SELECT near.read_at FROM weather_reading near WHERE near.cell_id = NEW.cell_id AND near.id <> NEW.id"
    before = f"({near} AND {_STANDING} AND near.read_at < {told} ORDER BY near.read_at DESC LIMIT 1)"
    after = f"({near} AND {_STANDING} AND near.read_at > {told} ORDER BY near.read_at LIMIT 1)"
    return (
        f"cell_id = NEW.cell_id AND {told} IS NOT NULL AND taken_at >= coalesce({before}, {{earliest}}) "
        f"AND taken_at <= coalesce({after}, {{latest}})"
    )


_SUPERSEDED = "(SELECT read_at FROM weather_reading WHERE id = NEW.supersedes_id)"
_ENDS = {
    "sqlite": {"earliest": "''", "latest": "'9999'"},
    "postgresql": {"earliest": "'-infinity'::timestamptz", "latest": "'infinity'::timestamptz"},
}
_NEW_PULL = (
    "INSERT INTO found_pull (pull_id, taken_at, number, setup_id, cell_id, kind, set_aside, model_id, model_year, "
    "flag_count, standard, method_version) SELECT NEW.id, NEW.taken_at, ticket.number, NEW.setup_id, NEW.cell_id, "
    "NEW.kind, NEW.set_aside_at IS NOT NULL, found_ticket.model_id, found_ticket.model_year, 0, '', '' "
    "FROM ticket LEFT JOIN found_ticket ON found_ticket.ticket_id = ticket.id WHERE ticket.id = NEW.ticket_id"
)
_CHANGED_PULL = (
    "UPDATE found_pull SET setup_id = NEW.setup_id, set_aside = NEW.set_aside_at IS NOT NULL WHERE pull_id = NEW.id"
)
_DUE = "INSERT INTO found_due (pull_id) VALUES (NEW.id)"
_LATE = "INSERT INTO found_late (ticket_id) VALUES (NEW.ticket_id)"

# name: (event on table, what to do); a statement that is already there does nothing
_MARKS: dict[str, tuple[str, tuple[str, ...]]] = {
    "found_customer_changed": (
        "UPDATE OF full_name, phone, email, notes ON customer",
        (_TICKETS.format(where="customer_id = NEW.id"),),
    ),
    "found_vehicle_changed": (
        "UPDATE ON vehicle",
        (
            _TICKETS.format(where="vehicle_id = NEW.id"),
            _PULLS.format(where="number IN (SELECT number FROM ticket WHERE vehicle_id = NEW.id)"),
        ),
    ),
    "found_ticket_made": ("INSERT ON ticket", ("INSERT INTO found_late (ticket_id) VALUES (NEW.id)",)),
    "found_ticket_changed": (
        "UPDATE OF customer_id, vehicle_id, asked, notes, arrival_notes ON ticket",
        ("INSERT INTO found_late (ticket_id) VALUES (NEW.id)",),
    ),
    "found_setup_made": ("INSERT ON setup", (_LATE,)),
    "found_setup_changed": (
        "UPDATE ON setup",
        (_LATE, _PULLS.format(where=f"{_OF_TICKET.format(id='NEW.ticket_id')} AND setup_id = NEW.id")),
    ),
    "found_pull_made": ("INSERT ON pull", (_NEW_PULL, _DUE)),
    "found_pull_noted": ("INSERT ON pull WHEN NEW.notes <> ''", (_LATE,)),
    "found_pull_changed": (
        "UPDATE OF setup_id, channel_map_id, state, set_aside_at ON pull",
        (_DUE, _CHANGED_PULL),  # in the order in which whoever reads figures takes them
    ),
    "found_pull_renoted": ("UPDATE OF notes ON pull", (_LATE,)),
    "found_weather_read": (
        "INSERT ON weather_reading",
        (_PULLS.format(where=_around("NEW.read_at")), _PULLS.format(where=_around(_SUPERSEDED))),
    ),
    "found_calibration_made": (
        "INSERT ON calibration",
        (_PULLS.format(where="cell_id = NEW.cell_id AND taken_at >= NEW.valid_from"),),
    ),
    "found_file_joined": ("INSERT ON joined_file", ("INSERT INTO found_due (pull_id) VALUES (NEW.pull_id)",)),
    "found_joined_changed": ("UPDATE ON joined_file", ("INSERT INTO found_due (pull_id) VALUES (NEW.pull_id)",)),
    "found_limit_set": ("INSERT ON ticket_limit", (_PULLS.format(where=_OF_TICKET.format(id="NEW.ticket_id")),)),
    "found_limit_changed": ("UPDATE ON ticket_limit", (_PULLS.format(where=_OF_TICKET.format(id="NEW.ticket_id")),)),
    "found_limit_lifted": ("DELETE ON ticket_limit", (_PULLS.format(where=_OF_TICKET.format(id="OLD.ticket_id")),)),
    "found_standard_changed": (
        "UPDATE OF default_standard ON shop WHEN NEW.default_standard <> OLD.default_standard",
        (_PULLS.format(where="1 = 1"),),
    ),
}
# what is looked up by letters in threes: SQLite's word index, then the table with its key and its text
WORDED = (
    ("found_words", "found_ticket", "number", "line"),
    ("found_words_customer", "customer", "id", "found_by"),
    ("found_words_vehicle", "vehicle", "id", "found_by"),
)


def _sqlite_words(index: str, table: str, key: str, text: str) -> dict[str, str]:
    forget = f"INSERT INTO {index} ({index}, rowid, {text}) VALUES ('delete', OLD.{key}, OLD.{text})"  # noqa: S608
    learn = f"INSERT INTO {index} (rowid, {text}) VALUES (NEW.{key}, NEW.{text})"  # noqa: S608
    changed = f"AFTER UPDATE OF {text} ON {table} WHEN NEW.{text} <> OLD.{text}"
    return {
        f"{index}_insert": f"AFTER INSERT ON {table} BEGIN {learn}; END",
        f"{index}_update": f"{changed} BEGIN {forget}; {learn}; END",
        f"{index}_delete": f"AFTER DELETE ON {table} BEGIN {forget}; END",
    }


# letters in threes, so that any part of a word can be looked up; rechecked against the text itself
_POSTGRES_TRIGRAMS = """
CREATE FUNCTION pullbook_trigrams(line text) RETURNS tsvector LANGUAGE sql IMMUTABLE STRICT PARALLEL SAFE AS $$
  SELECT array_to_tsvector(coalesce(array_agg(DISTINCT first || second || third), '{}'))
  FROM (
    SELECT letter AS first, lead(letter) OVER row AS second, lead(letter, 2) OVER row AS third
    FROM unnest(string_to_array(line, NULL)) WITH ORDINALITY AS parted (letter, place)
    WINDOW row AS (ORDER BY place)
  ) AS threes
  WHERE third IS NOT NULL
$$
"""
TRIGRAMS = "_trigrams"  # how the index of each ends in PostgreSQL


def is_described(name: str | None) -> bool:
    """Whether the tables' description knows of this; the word index and what SQLite keeps beside it stand outside."""
    return name is None or not (name.startswith("found_words") or name.endswith(TRIGRAMS))


def finding_statements(dialect: str) -> list[str]:
    """What makes the word index and sets every trigger, once the tables are there."""
    return _sqlite() if dialect == "sqlite" else _postgres()


def _sqlite() -> list[str]:
    made = []
    for index, table, key, text in WORDED:
        made += [
            f"CREATE VIRTUAL TABLE {index} USING fts5({text}, content='{table}', content_rowid='{key}', "
            "tokenize='trigram case_sensitive 1', detail=none, columnsize=0)",
            f"INSERT INTO {index} ({index}) VALUES ('rebuild')",  # noqa: S608
        ]
    return [*made, *_sqlite_triggers().values()]


def _sqlite_triggers() -> dict[str, str]:
    words = (one for worded in WORDED for one in _sqlite_words(*worded).items())
    made = {name: f"CREATE TRIGGER {name} {told}" for name, told in words}
    for name, (event, statements) in _MARKS.items():
        inside = "; ".join(_with_ends("sqlite", name, statements)).replace("INSERT INTO", "INSERT OR IGNORE INTO")
        made[name] = f"CREATE TRIGGER {name} AFTER {event} BEGIN {inside}; END"
    return made


def _where_there(statement: str) -> str:
    """What becomes of a row that is there. A mark is held, so that whoever reads figures meanwhile passes it over."""
    if statement.startswith("INSERT INTO found_due"):
        return " ON CONFLICT (pull_id) DO UPDATE SET pull_id = excluded.pull_id"
    return "" if statement.startswith("UPDATE") else " ON CONFLICT DO NOTHING"


def _postgres() -> list[str]:
    made = [_POSTGRES_TRIGRAMS]
    for _, table, _, text in WORDED:
        gin = f"USING gin (pullbook_trigrams({text})) WITH (fastupdate = off)"
        made.append(f"CREATE INDEX ix_{table}{TRIGRAMS} ON {table} {gin}")
    for name, (event, statements) in _MARKS.items():
        inside = " ".join(f"{one}{_where_there(one)};" for one in _with_ends("postgresql", name, statements))
        event, _, condition = event.partition(" WHEN ")
        when = f" WHEN ({condition})" if condition else ""
        made.append(
            f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN {inside} RETURN NULL; END $$"
        )
        made.append(f"CREATE TRIGGER {name} AFTER {event} FOR EACH ROW{when} EXECUTE FUNCTION {name}()")
    return made


def _with_ends(dialect: str, name: str, statements: tuple[str, ...]) -> list[str]:
    """The weather's statements with the ends of time as the engine writes them; all others as they are."""
    return [one.format(**_ENDS[dialect]) if name == "found_weather_read" else one for one in statements]


def restore_triggers(connection: Connection) -> None:
    """Set those again that a rebuilt table on SQLite has lost; PostgreSQL's stay where they are."""
    if connection.dialect.name != "sqlite":
        return
    there = set(connection.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'trigger'").scalars())
    for name, statement in _sqlite_triggers().items():
        if name not in there:
            connection.exec_driver_sql(statement)
