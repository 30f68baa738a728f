"""The shop, who works there, and how they come in."""

from datetime import datetime

from sqlalchemy import UniqueConstraint, select
from sqlalchemy.orm import Mapped, column_property, mapped_column, relationship

from pullbook.db.schema import STRICT, Table, length, not_negative, one_of, own_id, positive, reference, rule
from pullbook.db.stored_types import blob

ROLES = ("read_only", "front_desk", "tuner", "owner")


class ShopLogo(Table):
    """The shop's picture for its papers: drawn anew from what was sent. One row, or none."""

    __tablename__ = "shop_logo"
    __table_args__ = (
        rule("only_one", "id = 1"),
        length("sha256", 64, 64),
        *positive("width_px", "height_px"),
        STRICT,
    )
    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    sha256: Mapped[str]  # of `png`
    width_px: Mapped[int]
    height_px: Mapped[int]
    png: Mapped[bytes] = mapped_column(blob())
    made_at: Mapped[datetime]


class Shop(Table):
    """The shop itself: one row."""

    __tablename__ = "shop"
    __table_args__ = (rule("only_one", "id = 1"), length("name", 1, 200), *positive("version"), STRICT)
    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    name: Mapped[str]
    address: Mapped[str] = mapped_column(default="")
    time_zone: Mapped[str] = mapped_column(default="UTC")
    default_standard: Mapped[str] = mapped_column(default="iso_1585")
    power_unit: Mapped[str] = mapped_column(default="kW")
    torque_unit: Mapped[str] = mapped_column(default="N·m")
    pressure_unit: Mapped[str] = mapped_column(default="kPa")
    version: Mapped[int] = mapped_column(default=1)
    currency: Mapped[str | None]  # by its three letters (ISO 4217); EUR until the owner says
    prices_include_tax: Mapped[bool | None]  # whether prices are told with tax; without, until the owner says
    temperature_unit: Mapped[str | None]  # °C until the owner says
    speed_unit: Mapped[str | None]  # km/h until the owner says
    # after so many months without a ticket a customer is due to be forgotten, a photo to go; never until the owner says
    keep_customers_months: Mapped[int | None]
    keep_photos_months: Mapped[int | None]
    logo_sha256: Mapped[str | None] = column_property(select(ShopLogo.sha256).scalar_subquery())


class Counter(Table):
    """The last number given out, by name; one row is locked while the next is taken, so numbers have no gaps."""

    __tablename__ = "counter"
    __table_args__ = (*not_negative("last"), STRICT)
    name: Mapped[str] = mapped_column(primary_key=True)
    last: Mapped[int]


class Staff(Table):
    """A person who works here."""

    __tablename__ = "staff"
    __table_args__ = (
        UniqueConstraint("sign_in_name"),
        one_of("role", *ROLES),
        length("sign_in_name", 1, 120),
        length("full_name", 1, 200),
        *positive("version"),
        STRICT,
    )
    id: Mapped[str] = own_id()
    sign_in_name: Mapped[str]  # kept in lower case
    full_name: Mapped[str]
    role: Mapped[str]
    password_hash: Mapped[str]
    created_at: Mapped[datetime]
    disabled_at: Mapped[datetime | None]
    version: Mapped[int] = mapped_column(default=1)
    # the second step at the door (RFC 6238): a secret counts from `code_since` on; a code's step is taken once
    code_secret: Mapped[str | None]
    code_since: Mapped[datetime | None]
    code_last_step: Mapped[int | None]


class SpareCode(Table):
    """A code for the day the telephone is lost: good once, kept as its hash only."""

    __tablename__ = "spare_code"
    __table_args__ = (length("code_hash", 64, 64), STRICT)
    id: Mapped[str] = own_id()
    staff_id: Mapped[str] = reference("staff.id", index=True)
    code_hash: Mapped[str]
    made_at: Mapped[datetime]
    used_at: Mapped[datetime | None]


class SignIn(Table):
    """A session: what the cookie holds is kept as its hash only."""

    __tablename__ = "sign_in"
    __table_args__ = (
        UniqueConstraint("token_hash"),
        length("token_hash", 64, 64),
        rule("ends_after_start", "ends_at > started_at"),
        STRICT,
    )
    id: Mapped[str] = own_id()
    token_hash: Mapped[str]
    staff_id: Mapped[str] = reference("staff.id", index=True)
    started_at: Mapped[datetime]
    ends_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]
    staff: Mapped[Staff] = relationship(lazy="raise")


class Invitation(Table):
    """A one-time link by which somebody becomes staff; the very first makes the owner."""

    __tablename__ = "invitation"
    __table_args__ = (
        UniqueConstraint("token_hash"),
        length("token_hash", 64, 64),
        one_of("role", *ROLES),
        rule("ends_after_start", "ends_at > made_at"),
        STRICT,
    )
    id: Mapped[str] = own_id()
    token_hash: Mapped[str]
    role: Mapped[str]
    made_at: Mapped[datetime]
    ends_at: Mapped[datetime]
    used_at: Mapped[datetime | None]


class Tries(Table):
    """A bucket of tries, by what is tried and from where: it slows guessing down and locks nobody out."""

    __tablename__ = "tries"
    __table_args__ = (*not_negative("remaining"), STRICT)
    bucket: Mapped[str] = mapped_column(primary_key=True)
    remaining: Mapped[float]
    counted_at: Mapped[datetime]
