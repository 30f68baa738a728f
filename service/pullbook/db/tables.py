"""The business side: cells and their air, customers, cars, tickets, setups. Pulls and evidence are in `evidence`."""

from datetime import datetime

from sqlalchemy import Index, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from pullbook.db.arrival import Picture, SafetyChecklist, SafetySigning, TicketPhoto, WaiverText
from pullbook.db.people import ROLES, Counter, Invitation, Shop, SignIn, Staff, Tries
from pullbook.db.schema import STRICT, Table, length, not_negative, one_of, own_id, positive, reference, rule
from pullbook.db.stored_types import JsonText

DRIVES = ("two_wheel", "all_wheel")
ASPIRATIONS = ("natural", "mechanical", "turbo")
FUELS = ("petrol", "e10", "e85", "ethanol", "methanol", "diesel", "lpg", "cng")
TICKET_STATES = ("booked", "checked_in", "in_cell", "ready", "collected", "on_hold", "cancelled")


class Cell(Table):
    """A dynamometer installation."""

    __tablename__ = "cell"
    __table_args__ = (
        UniqueConstraint("name"),
        one_of("drive", *DRIVES),
        length("name", 1, 120),
        rule("altitude_on_earth", "altitude_m BETWEEN -500 AND 6000"),
        *positive("version"),
        STRICT,
    )
    id: Mapped[str] = own_id()
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
        *positive("inertia_kg_m2", "roller_radius_m", "pulses_per_turn", "brake_arm_m", "brake_scale"),
        *not_negative("inertia_u_kg_m2", "roller_radius_u_m", "loss_u_nm", "brake_arm_u_m", "brake_scale_u"),
        Index(None, "cell_id", "valid_from"),
        STRICT,
    )
    id: Mapped[str] = own_id()
    cell_id: Mapped[str] = reference("cell.id")
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
    made_by: Mapped[str] = reference("staff.id")


class WeatherReading(Table):
    """The air as somebody or something read it. Corrections supersede; the old one stays."""

    __tablename__ = "weather_reading"
    __table_args__ = (
        one_of("humidity_kind", "relative_pct", "dew_point_c", "wet_bulb_c"),
        rule("temperature_on_earth", "air_temperature_c BETWEEN -60 AND 70"),
        rule("pressure_on_earth", "station_pressure_kpa BETWEEN 40 AND 115"),
        rule("humidity_in_range", "humidity_kind <> 'relative_pct' OR humidity_value BETWEEN 0 AND 100"),
        rule("supersedes_another", "supersedes_id <> id"),
        Index(None, "cell_id", "read_at"),
        Index(None, "read_at", "id"),
        STRICT,
    )
    id: Mapped[str] = own_id()
    cell_id: Mapped[str] = reference("cell.id")
    read_at: Mapped[datetime]
    air_temperature_c: Mapped[float]
    station_pressure_kpa: Mapped[float]
    humidity_kind: Mapped[str]
    humidity_value: Mapped[float]
    altimeter_setting_kpa: Mapped[float | None]  # as given, where the station pressure was worked out from one
    source: Mapped[str]
    doubt: Mapped[str | None]  # why it is questioned, in words
    supersedes_id: Mapped[str | None] = reference("weather_reading.id", unique=True, nullable=True)
    made_at: Mapped[datetime]
    made_by: Mapped[str] = reference("staff.id")


class Customer(Table):
    """Who the car belongs to."""

    __tablename__ = "customer"
    __table_args__ = (
        length("full_name", 1, 200),
        *positive("version"),
        STRICT,
    )
    id: Mapped[str] = own_id()
    full_name: Mapped[str]
    phone: Mapped[str] = mapped_column(default="")
    email: Mapped[str] = mapped_column(default="")
    notes: Mapped[str] = mapped_column(default="")
    found_by: Mapped[str]  # name, phone digits and e-mail in lower case: what as-you-type search looks at
    made_at: Mapped[datetime]
    version: Mapped[int] = mapped_column(default=1)
    erased_at: Mapped[datetime | None]  # since when nothing here tells who it was


class Vehicle(Table):
    """A car, as far as its measurement and its owner need it described."""

    __tablename__ = "vehicle"
    __table_args__ = (
        one_of("ignition", "spark", "compression"),
        one_of("aspiration", *ASPIRATIONS),
        one_of("fuel", *FUELS),
        one_of("drive", *DRIVES),
        rule("displacement_real", "displacement_l BETWEEN 0.01 AND 30"),
        rule("model_year_real", "model_year BETWEEN 1885 AND 2200"),
        *positive("mass_kg", "engine_turns_per_roller_turn", "fuel_per_litre_cycle_mg", "version"),
        STRICT,
    )
    id: Mapped[str] = own_id()
    customer_id: Mapped[str] = reference("customer.id", index=True)
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
        rule("booking_forward", "booked_to > booked_from"),
        rule("waiver_with_its_time", "(waiver_name = '') = (waiver_at IS NULL)"),
        rule("waiver_version_with_its_name", "waiver_version_id IS NULL OR waiver_at IS NOT NULL"),
        rule("fuel_eighths_real", "fuel_eighths BETWEEN 0 AND 8"),
        *not_negative("odometer_km", "key_count"),
        *positive("number", "version"),
        Index(None, "state", "booked_from"),
        Index(None, "state", "number"),
        Index(None, "booked_from"),
        Index(None, "customer_id", "booked_from", "made_at"),
        STRICT,
    )
    id: Mapped[str] = own_id()
    number: Mapped[int]
    customer_id: Mapped[str] = reference("customer.id")
    vehicle_id: Mapped[str] = reference("vehicle.id", index=True)
    asked: Mapped[str]
    cell_id: Mapped[str | None] = reference("cell.id", nullable=True)
    booked_from: Mapped[datetime | None]
    booked_to: Mapped[datetime | None]
    state: Mapped[str] = mapped_column(default="booked")
    odometer_km: Mapped[int | None]
    waiver_name: Mapped[str] = mapped_column(default="")  # who accepted the shop's terms, as they signed
    waiver_at: Mapped[datetime | None]
    notes: Mapped[str] = mapped_column(default="")
    made_at: Mapped[datetime]
    made_by: Mapped[str] = reference("staff.id")
    version: Mapped[int] = mapped_column(default=1)
    waiver_version_id: Mapped[str | None] = reference("waiver_text.id")  # what they accepted
    # as the car came, beside `odometer_km`
    fuel_eighths: Mapped[int | None]
    tyre_condition: Mapped[str | None]
    tyre_pressures: Mapped[str | None]
    tyre_age: Mapped[str | None]
    key_count: Mapped[int | None]
    keys_where: Mapped[str | None]
    arrival_notes: Mapped[str | None]
    customer: Mapped[Customer] = relationship(lazy="raise")
    vehicle: Mapped[Vehicle] = relationship(lazy="raise")
    cell: Mapped[Cell | None] = relationship(lazy="raise")


class TicketStep(Table):
    """A ticket went from one state to the next: who and when. Append-only."""

    __tablename__ = "ticket_step"
    __table_args__ = (one_of("state", *TICKET_STATES), STRICT)
    id: Mapped[str] = own_id()
    ticket_id: Mapped[str] = reference("ticket.id", index=True)
    state: Mapped[str]
    at: Mapped[datetime]
    by: Mapped[str] = reference("staff.id")
    note: Mapped[str] = mapped_column(default="")


class Setup(Table):
    """One state of the car within a ticket: baseline, or what was changed since."""

    __tablename__ = "setup"
    __table_args__ = (
        UniqueConstraint("ticket_id", "position"),
        UniqueConstraint("id", "ticket_id"),  # so that a pull can name both and they must agree
        length("name", 1, 120),
        *not_negative("position"),
        *positive("tyre_pressure_kpa", "engine_turns_per_roller_turn", "version"),
        STRICT,
    )
    id: Mapped[str] = own_id()
    ticket_id: Mapped[str] = reference("ticket.id")
    position: Mapped[int]  # 0 is the baseline
    name: Mapped[str]
    changed: Mapped[str] = mapped_column(default="")
    gear: Mapped[str] = mapped_column(default="")
    engine_turns_per_roller_turn: Mapped[float | None]
    tyre_pressure_kpa: Mapped[float | None]
    fuel: Mapped[str] = mapped_column(default="")
    made_at: Mapped[datetime]
    made_by: Mapped[str] = reference("staff.id")
    version: Mapped[int] = mapped_column(default=1)
    ticket: Mapped[Ticket] = relationship(lazy="raise")


class ChannelMap(Table):
    """Which column of a file is what, and in which unit; made once, saved by name, never edited."""

    __tablename__ = "channel_map"
    __table_args__ = (UniqueConstraint("name"), length("name", 1, 120), STRICT)
    id: Mapped[str] = own_id()
    name: Mapped[str]
    columns: Mapped[list[dict[str, str]]] = mapped_column(JsonText())
    made_at: Mapped[datetime]
    made_by: Mapped[str] = reference("staff.id")


__all__ = [
    "ASPIRATIONS",
    "DRIVES",
    "FUELS",
    "ROLES",
    "TICKET_STATES",
    "Calibration",
    "Cell",
    "ChannelMap",
    "Counter",
    "Customer",
    "Invitation",
    "Picture",
    "SafetyChecklist",
    "SafetySigning",
    "Setup",
    "Shop",
    "SignIn",
    "Staff",
    "Table",
    "Ticket",
    "TicketPhoto",
    "TicketStep",
    "Tries",
    "Vehicle",
    "WaiverText",
    "WeatherReading",
]
