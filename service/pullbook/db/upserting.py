"""Insert unless it is there: the one statement that SQLAlchemy builds differently for each engine."""

from collections.abc import Sequence
from functools import cache
from importlib import import_module
from typing import Any

from sqlalchemy.orm import Session


def upsert(session: Session, table: Any) -> Any:
    """An INSERT of the session's own engine, which knows `on_conflict_do_nothing` and `on_conflict_do_update`.

    Its dialect is loaded with its engine; naming both here would load PostgreSQL's into every shop on SQLite.
    """
    return _insert_of(session.get_bind().dialect.name)(table)


def insert_once(session: Session, table: Any, key: str) -> Any:
    """An INSERT that leaves what has this key already; executed with its values as parameters."""
    return _insert_once(session.get_bind().dialect.name, table, key)


@cache  # putting such a statement together costs more than running it
def _insert_once(dialect: str, table: Any, key: str) -> Any:
    return _insert_of(dialect)(table).on_conflict_do_nothing(index_elements=[key])


def counting_on(session: Session, counter: Any) -> Any:
    """An INSERT of `name` and `last` that adds to what is there, and answers the sum."""
    return _counting_on(session.get_bind().dialect.name, counter)


@cache
def _counting_on(dialect: str, counter: Any) -> Any:
    statement = _insert_of(dialect)(counter)
    added = {"last": counter.c.last + statement.excluded.last}
    return statement.on_conflict_do_update(index_elements=["name"], set_=added).returning(counter.c.last)


def adding_up(session: Session, table: Any, columns: Sequence[str]) -> Any:
    """An INSERT that adds these columns to those of the row that has its key already, under that row's lock."""
    return _on_conflict(session.get_bind().dialect.name, table, tuple(columns), adds=True)


def replacing(session: Session, table: Any, columns: Sequence[str]) -> Any:
    """An INSERT that puts these columns in place of those of the row that has its key already."""
    return _on_conflict(session.get_bind().dialect.name, table, tuple(columns), adds=False)


@cache
def _on_conflict(dialect: str, table: Any, columns: tuple[str, ...], *, adds: bool) -> Any:
    statement = _insert_of(dialect)(table)
    given = statement.excluded
    values = {name: table.c[name] + given[name] if adds else given[name] for name in columns}
    return statement.on_conflict_do_update(index_elements=[*table.primary_key.columns], set_=values)


def _insert_of(dialect: str) -> Any:
    return import_module(f"sqlalchemy.dialects.{dialect}").insert
