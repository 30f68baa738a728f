"""Insert unless it is there: the one statement that SQLAlchemy builds differently for each engine."""

from importlib import import_module
from typing import Any

from sqlalchemy.orm import Session


def upsert(session: Session, table: Any) -> Any:
    """An INSERT of the session's own engine, which knows `on_conflict_do_nothing` and `on_conflict_do_update`.

    Its dialect is loaded with its engine; naming both here would load PostgreSQL's into every shop on SQLite.
    """
    return import_module(f"sqlalchemy.dialects.{session.get_bind().dialect.name}").insert(table)
