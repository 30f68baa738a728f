"""What every table has in common: strict types, named constraints, ids and references."""

from datetime import datetime
from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, MetaData, Text
from sqlalchemy.orm import DeclarativeBase, mapped_column

from pullbook.db.stored_types import Flag, OpaqueId, UtcTime, new_id, real, whole

NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}
STRICT = {"sqlite_strict": True}  # a column takes its own type or the row is refused, as on PostgreSQL


class Table(DeclarativeBase):
    """Relationships are `lazy="raise"`: a forgotten load is an error here, not a slow page in the shop."""

    metadata = MetaData(naming_convention=NAMES)
    type_annotation_map = {str: Text(), int: whole(), float: real(), bool: Flag(), datetime: UtcTime()}  # noqa: RUF012
    __table_args__: Any = (STRICT,)


def own_id() -> Any:
    """The column of a record's own opaque id."""
    return mapped_column(OpaqueId(), primary_key=True, default=new_id)


def reference(column: str, **words: Any) -> Any:
    """A column that names another record, which cannot go while it is named."""
    return mapped_column(OpaqueId(), ForeignKey(column, ondelete="RESTRICT"), **words)


def rule(name: str, condition: str) -> CheckConstraint:
    """A CHECK under its name."""
    return CheckConstraint(condition, name=name)


def one_of(column: str, *values: str) -> CheckConstraint:
    """A CHECK that a column holds one of these words."""
    return rule(f"{column}_known", f"{column} IN ({', '.join(repr(value) for value in values)})")


def length(column: str, shortest: int, longest: int) -> CheckConstraint:
    """A CHECK on how long a text is."""
    return rule(f"{column}_length", f"length({column}) BETWEEN {shortest} AND {longest}")


def positive(*columns: str) -> list[CheckConstraint]:
    """CHECKs that numbers, where they are given, are above nought."""
    return [rule(f"{column}_positive", f"{column} > 0") for column in columns]


def not_negative(*columns: str) -> list[CheckConstraint]:
    """CHECKs that numbers, where they are given, are nought or above."""
    return [rule(f"{column}_not_negative", f"{column} >= 0") for column in columns]
