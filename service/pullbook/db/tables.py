"""Every table, named constraint and relationship: the business side. Pulls and their evidence are in `evidence`.

Relationships are `lazy="raise"`: a forgotten load is an error here, not a slow page in the shop.
"""

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, MetaData, Text, UniqueConstraint
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column, relationship

from pullbook.db.stored_types import Flag, JsonText, OpaqueId, UtcTime, new_id, real, whole

NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}


class Table(DeclarativeBase):
    """Strict on SQLite: a column takes its own type or the row is refused."""

    metadata = MetaData(naming_convention=NAMES)
    type_annotation_map = {str: Text(), int: whole(), float: real(), bool: Flag(), datetime: UtcTime()}  # noqa: RUF012
    __table_args__ = ({"sqlite_strict": True},)


def _id() -> Mapped[str]:
    return mapped_column(OpaqueId(), primary_key=True, default=new_id)


def _ref(column: str, **words: object) -> Mapped[str]:
    return mapped_column(OpaqueId(), ForeignKey(column, ondelete="RESTRICT"), **words)  # type: ignore[arg-type]


def one_of(column: str, *values: str) -> CheckConstraint:
    """A CHECK that a column holds one of these words."""
    return CheckConstraint(f"{column} IN ({', '.join(repr(value) for value in values)})", name=f"{column}_known")


ROLES = ("front_desk", "tuner", "owner")
DRIVES = ("two_wheel", "all_wheel")
ASPIRATIONS = ("natural", "mechanical", "turbo")
FUELS = ("petrol", "e10", "e85", "ethanol", "methanol", "diesel", "lpg", "cng")
TICKET_STATES = ("booked", "checked_in", "in_cell", "ready", "collected", "on_hold", "cancelled")


class Shop(Table):
    """The shop itself: one row."""

    __tablename__ = "shop"
    __table_args__ = (CheckConstraint("id = 1", name="only_one"), {"sqlite_strict": True})
    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    name: Mapped[str]
    address: Mapped[str] = mapped_column(default="")
    time_zone: Mapped[str] = mapped_column(default="UTC")
    default_standard: Mapped[str] = mapped_column(default="iso_1585")
    power_unit: Mapped[str] = mapped_column(default="kW")
    torque_unit: Mapped[str] = mapped_column(default="N·m")
    pressure_unit: Mapped[str] = mapped_column(default="kPa")
    version: Mapped[int] = mapped_column(default=1)


class Counter(Table):
    """The last number given out, by name; one row is locked while the next is taken, so numbers have no gaps."""

    __tablename__ = "counter"
    name: Mapped[str] = mapped_column(primary_key=True)
    last: Mapped[int]


class Staff(Table):
    """A person who works here."""

    __tablename__ = "staff"
    __table_args__ = (
        UniqueConstraint("sign_in_name"),
        one_of("role", *ROLES),
        CheckConstraint("length(sign_in_name) BETWEEN 1 AND 120", name="sign_in_name_length"),
        {"sqlite_strict": True},
    )
    id: Mapped[str] = _id()
    sign_in_name: Mapped[str]  # kept in lower case
    full_name: Mapped[str]
    role: Mapped[str]
    password_hash: Mapped[str]
    created_at: Mapped[datetime]
    disabled_at: Mapped[datetime | None]
    version: Mapped[int] = mapped_column(default=1)


class SignIn(Table):
    """A session: what the cookie holds is kept as its hash only."""

    __tablename__ = "sign_in"
    __table_args__ = (UniqueConstraint("token_hash"), {"sqlite_strict": True})
    id: Mapped[str] = _id()
    token_hash: Mapped[str]
    staff_id: Mapped[str] = _ref("staff.id", index=True)
    started_at: Mapped[datetime]
    ends_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]
    staff: Mapped[Staff] = relationship(lazy="raise")


class Invitation(Table):
    """A one-time link by which somebody becomes staff; the very first makes the owner."""

    __tablename__ = "invitation"
    __table_args__ = (UniqueConstraint("token_hash"), one_of("role", *ROLES), {"sqlite_strict": True})
    id: Mapped[str] = _id()
    token_hash: Mapped[str]
    role: Mapped[str]
    made_at: Mapped[datetime]
    ends_at: Mapped[datetime]
    used_at: Mapped[datetime | None]


class Tries(Table):
    """A bucket of tries, by what is tried and from where: it slows guessing down and locks nobody out."""

    __tablename__ = "tries"
    bucket: Mapped[str] = mapped_column(primary_key=True)
    left: Mapped[float]
    counted_at: Mapped[datetime]


class Cell(Table):
    """A dynamometer installation."""

    __tablename__ = "cell"
    __table_args__ = (
        UniqueConstraint("name"),
        one_of("drive", *DRIVES),
        CheckConstraint("altitude_m BETWEEN -500 AND 6000", name="altitude_on_earth"),
        {"sqlite_strict": True},
    )
    id: Mapped[str] = _id()
    name: Mapped[str]
    drive: Mapped[str]
    has_brake: Mapped[bool]
    altitude_m: Mapped[float]
    notes: Mapped[str] = mapped_column(default="")
    version: Mapped[int] = mapped_column(default=1)


class Calibration(Table):
    """What a cell's constants are from a date on. Never edited: a new one supersedes from its own date.

    Each `…_u` is a standard uncertainty (k = 1) in the unit of its constant.
    """

    __tablename__ = "calibration"
    __table_args__ = (
        CheckConstraint("inertia_kg_m2 > 0", name="inertia_positive"),
        CheckConstraint("roller_radius_m > 0", name="radius_positive"),
        CheckConstraint("pulses_per_turn IS NULL OR pulses_per_turn > 0", name="pulses_positive"),
        Index(None, "cell_id", "valid_from"),
        {"sqlite_strict": True},
    )
    id: Mapped[str] = _id()
    cell_id: Mapped[str] = _ref("cell.id")
    valid_from: Mapped[datetime]
    inertia_kg_m2: Mapped[float]
    inertia_u_kg_m2: Mapped[float]
    roller_radius_m: Mapped[float]
    roller_radius_u_m: Mapped[float]
    pulses_per_turn: Mapped[float | None]
    loss_c0_nm: Mapped[float] = mapped_column(default=0.0)
    loss_c1_nm_s: Mapped[float] = mapped_column(default=0.0)
    loss_c2_nm_s2: Mapped[float] = mapped_column(default=0.0)
    loss_u_nm: Mapped[float] = mapped_column(default=0.0)
    brake_arm_m: Mapped[float | None]
    brake_arm_u_m: Mapped[float | None]
    brake_scale: Mapped[float] = mapped_column(default=1.0)
    brake_scale_u: Mapped[float] = mapped_column(default=0.0)
    brake_zero_nm: Mapped[float] = mapped_column(default=0.0)
    reason: Mapped[str] = mapped_column(default="")
    evidence: Mapped[str] = mapped_column(default="")
    made_at: Mapped[datetime]
    made_by: Mapped[str] = _ref("staff.id")


class WeatherReading(Table):
    """The air as somebody or something read it. Corrections supersede; the old one stays."""

    __tablename__ = "weather_reading"
    __table_args__ = (
        one_of("humidity_kind", "relative_pct", "dew_point_c", "wet_bulb_c"),
        CheckConstraint("air_temperature_c BETWEEN -60 AND 70", name="temperature_on_earth"),
        CheckConstraint("station_pressure_kpa BETWEEN 40 AND 115", name="pressure_on_earth"),
        Index(None, "cell_id", "read_at"),
        {"sqlite_strict": True},
    )
    id: Mapped[str] = _id()
    cell_id: Mapped[str] = _ref("cell.id")
    read_at: Mapped[datetime]
    air_temperature_c: Mapped[float]
    station_pressure_kpa: Mapped[float]
    humidity_kind: Mapped[str]
    humidity_value: Mapped[float]
    altimeter_setting_kpa: Mapped[float | None]  # as given, where the station pressure was worked out from one
    source: Mapped[str]
    doubt: Mapped[str | None]  # why it is questioned, in words
    supersedes_id: Mapped[str | None] = _ref("weather_reading.id", unique=True, nullable=True)
    made_at: Mapped[datetime]
    made_by: Mapped[str] = _ref("staff.id")


class Customer(Table):
    """Who the car belongs to."""

    __tablename__ = "customer"
    __table_args__ = (
        CheckConstraint("length(full_name) BETWEEN 1 AND 200", name="name_length"),
        {"sqlite_strict": True},
    )
    id: Mapped[str] = _id()
    full_name: Mapped[str]
    phone: Mapped[str] = mapped_column(default="")
    email: Mapped[str] = mapped_column(default="")
    notes: Mapped[str] = mapped_column(default="")
    found_by: Mapped[str]  # name, phone digits and e-mail in lower case: what as-you-type search looks at
    made_at: Mapped[datetime]
    version: Mapped[int] = mapped_column(default=1)


class Vehicle(Table):
    """A car, as far as its measurement and its owner need it described."""

    __tablename__ = "vehicle"
    __table_args__ = (
        one_of("ignition", "spark", "compression"),
        one_of("aspiration", *ASPIRATIONS),
        one_of("fuel", *FUELS),
        one_of("drive", *DRIVES),
        CheckConstraint("displacement_l IS NULL OR displacement_l BETWEEN 0.01 AND 30", name="displacement_real"),
        CheckConstraint("model_year IS NULL OR model_year BETWEEN 1885 AND 2200", name="model_year_real"),
        {"sqlite_strict": True},
    )
    id: Mapped[str] = _id()
    customer_id: Mapped[str] = _ref("customer.id", index=True)
    make: Mapped[str]
    model: Mapped[str]
    model_year: Mapped[int | None]
    plate: Mapped[str] = mapped_column(default="")
    vin: Mapped[str] = mapped_column(default="")
    engine: Mapped[str] = mapped_column(default="")
    displacement_l: Mapped[float | None]
    ignition: Mapped[str] = mapped_column(default="spark")
    aspiration: Mapped[str] = mapped_column(default="natural")
    holds_own_boost: Mapped[bool] = mapped_column(default=False)
    fuel: Mapped[str] = mapped_column(default="petrol")
    drive: Mapped[str] = mapped_column(default="two_wheel")
    mass_kg: Mapped[float | None]
    engine_turns_per_roller_turn: Mapped[float | None]  # in the gear usually pulled in, where it is known
    fuel_per_litre_cycle_mg: Mapped[float | None]
    notes: Mapped[str] = mapped_column(default="")
    found_by: Mapped[str]
    made_at: Mapped[datetime]
    version: Mapped[int] = mapped_column(default=1)
    customer: Mapped[Customer] = relationship(lazy="raise")


class Ticket(Table):
    """One job on one car."""

    __tablename__ = "ticket"
    __table_args__ = (
        UniqueConstraint("number"),
        one_of("state", *TICKET_STATES),
        CheckConstraint("booked_to IS NULL OR booked_from IS NULL OR booked_to > booked_from", name="booking_forward"),
        Index(None, "state", "booked_from"),
        Index(None, "booked_from"),
        {"sqlite_strict": True},
    )
    id: Mapped[str] = _id()
    number: Mapped[int]
    customer_id: Mapped[str] = _ref("customer.id", index=True)
    vehicle_id: Mapped[str] = _ref("vehicle.id", index=True)
    asked: Mapped[str]
    cell_id: Mapped[str | None] = _ref("cell.id", nullable=True)
    booked_from: Mapped[datetime | None]
    booked_to: Mapped[datetime | None]
    state: Mapped[str] = mapped_column(default="booked")
    odometer_km: Mapped[int | None]
    waiver_name: Mapped[str] = mapped_column(default="")  # who accepted the shop's terms, as they signed
    waiver_at: Mapped[datetime | None]
    safety_checked_by: Mapped[str | None] = _ref("staff.id", nullable=True)
    safety_checked_at: Mapped[datetime | None]
    notes: Mapped[str] = mapped_column(default="")
    made_at: Mapped[datetime]
    made_by: Mapped[str] = _ref("staff.id")
    version: Mapped[int] = mapped_column(default=1)
    customer: Mapped[Customer] = relationship(lazy="raise")
    vehicle: Mapped[Vehicle] = relationship(lazy="raise")
    cell: Mapped[Cell | None] = relationship(lazy="raise")


class TicketStep(Table):
    """A ticket went from one state to the next: who and when. Append-only."""

    __tablename__ = "ticket_step"
    __table_args__ = (one_of("state", *TICKET_STATES), {"sqlite_strict": True})
    id: Mapped[str] = _id()
    ticket_id: Mapped[str] = _ref("ticket.id", index=True)
    state: Mapped[str]
    at: Mapped[datetime]
    by: Mapped[str] = _ref("staff.id")
    note: Mapped[str] = mapped_column(default="")


class Setup(Table):
    """One state of the car within a ticket: baseline, or what was changed since."""

    __tablename__ = "setup"
    __table_args__ = (
        UniqueConstraint("ticket_id", "position"),
        CheckConstraint("length(name) BETWEEN 1 AND 120", name="name_length"),
        {"sqlite_strict": True},
    )
    id: Mapped[str] = _id()
    ticket_id: Mapped[str] = _ref("ticket.id")
    position: Mapped[int]  # 0 is the baseline
    name: Mapped[str]
    changed: Mapped[str] = mapped_column(default="")
    gear: Mapped[str] = mapped_column(default="")
    engine_turns_per_roller_turn: Mapped[float | None]
    tyre_pressure_kpa: Mapped[float | None]
    fuel: Mapped[str] = mapped_column(default="")
    made_at: Mapped[datetime]
    made_by: Mapped[str] = _ref("staff.id")
    version: Mapped[int] = mapped_column(default=1)
    ticket: Mapped[Ticket] = relationship(lazy="raise")


class ChannelMap(Table):
    """Which column of a file is what, and in which unit; made once, saved by name, never edited."""

    __tablename__ = "channel_map"
    __table_args__ = (UniqueConstraint("name"), {"sqlite_strict": True})
    id: Mapped[str] = _id()
    name: Mapped[str]
    columns: Mapped[list[dict[str, str]]] = mapped_column(JsonText())
    made_at: Mapped[datetime]
    made_by: Mapped[str] = _ref("staff.id")


__all__ = [name for name in dir() if name[0].isupper()] + ["one_of"]
