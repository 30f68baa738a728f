"""What finds a pull again: a search text for each ticket, an index row for each pull, and what is still to be read.

Nothing here is a result: every row can be made again from the records (`pullbook archive rebuild`). Triggers in
`found_triggers` mark what a change makes late, whichever way the change was written.
"""

from datetime import datetime

from sqlalchemy import Index, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column

from pullbook.db.schema import STRICT, Table, own_id, reference
from pullbook.db.stored_types import OpaqueId


class FoundModel(Table):
    """A make and model as it is searched by; spelling and accents alike. Shown as it was first written."""

    __tablename__ = "found_model"
    __table_args__ = (UniqueConstraint("make_key", "model_key"), STRICT)
    id: Mapped[str] = own_id()
    make_key: Mapped[str]
    model_key: Mapped[str]
    make: Mapped[str]
    model: Mapped[str]


class FoundTicket(Table):
    """Everything that a ticket's pulls may be looked for by, in one line of plain letters."""

    __tablename__ = "found_ticket"
    __table_args__ = (
        UniqueConstraint("ticket_id"),
        Index(None, "model_id", "number"),
        Index(None, "engine_key", "number"),
        Index(None, "family_key", "number"),
        STRICT,
    )
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    ticket_id: Mapped[str] = reference("ticket.id")
    model_id: Mapped[str] = reference("found_model.id")
    model_year: Mapped[int | None]
    engine_key: Mapped[str]  # the engine as written, closed up; empty where nothing is
    family_key: Mapped[str]  # displacement, aspiration and fuel; empty where the displacement is not known
    own_line: Mapped[str]  # customer, car and job: what every pull of the ticket is found by
    line: Mapped[str]  # that, and every setup and every note beside a pull


class FoundPull(Table):
    """A pull as lists filter it. Its figures are those of the last reading, at the rollers, and only find it."""

    __tablename__ = "found_pull"
    __table_args__ = (
        Index(None, "taken_at", "pull_id"),
        Index(None, "number", "taken_at", "pull_id"),
        Index(None, "model_id", "taken_at", "pull_id"),
        Index(None, "model_year", "taken_at", "pull_id"),
        Index(None, "cell_id", "taken_at", "pull_id"),
        Index(None, "kind", "taken_at", "pull_id"),
        Index(None, "power_w"),
        Index(None, "torque_nm"),
        Index(
            "ix_found_pull_set_aside",
            "taken_at",
            "pull_id",
            # what they are narrowed down by: SQLite reads no row that does not fit
            "model_id",
            "model_year",
            "cell_id",
            "kind",
            "power_w",
            "torque_nm",
            sqlite_where=text("set_aside = 1"),
            postgresql_where=text("set_aside"),
        ),
        STRICT,
    )
    pull_id: Mapped[str] = reference("pull.id", primary_key=True)
    taken_at: Mapped[datetime]
    number: Mapped[int]  # its ticket's
    setup_id: Mapped[str] = mapped_column(OpaqueId())
    cell_id: Mapped[str] = mapped_column(OpaqueId())
    kind: Mapped[str]
    set_aside: Mapped[bool]
    model_id: Mapped[str | None] = mapped_column(OpaqueId())
    model_year: Mapped[int | None]
    power_w: Mapped[float | None]
    torque_nm: Mapped[float | None]
    air_density_kg_m3: Mapped[float | None]
    flag_count: Mapped[int] = mapped_column(default=0)
    standard: Mapped[str] = mapped_column(default="")
    method_version: Mapped[str] = mapped_column(default="")  # empty before the first reading


class FoundFlag(Table):
    """A flag that a pull carried when it was last read."""

    __tablename__ = "found_flag"
    __table_args__ = (Index(None, "pull_id"), STRICT)
    code: Mapped[str] = mapped_column(primary_key=True)
    taken_at: Mapped[datetime] = mapped_column(primary_key=True)
    pull_id: Mapped[str] = mapped_column(OpaqueId(), primary_key=True)


class FoundDue(Table):
    """A pull whose figures are to be read again, because something that they are made from has changed."""

    __tablename__ = "found_due"
    __table_args__ = (STRICT,)
    pull_id: Mapped[str] = mapped_column(OpaqueId(), primary_key=True, autoincrement=False)


class FoundLate(Table):
    """A ticket whose search text is out of step; written and taken away within one transaction.

    The same ticket may be marked twice: a key would make one who writes wait for another who wrote.
    """

    __tablename__ = "found_late"
    __table_args__ = (STRICT,)
    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    ticket_id: Mapped[str] = mapped_column(OpaqueId())
