"""What a shop keeps beside its pulls: limits, track runs, layouts of fuel maps, the cars that watch the rollers."""

from datetime import datetime

from sqlalchemy import ForeignKeyConstraint, Index, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from pullbook.db.schema import STRICT, Table, length, not_negative, one_of, own_id, positive, reference, rule
from pullbook.db.stored_types import JsonText, OpaqueId
from pullbook.db.tables import Vehicle

LIMITED = (
    "lambda_leaner_than",
    "manifold_pressure_kpa_above",
    "coolant_temperature_c_above",
    "intake_temperature_c_above",
    "oil_temperature_c_above",
    "knock_retard_deg_beyond",
    "fuel_pressure_kpa_below",
)
LOAD_AXES = ("manifold_pressure_kpa", "throttle_pct")


class TicketLimit(Table):
    """What must not be passed on this job, in the unit its quantity names."""

    __tablename__ = "ticket_limit"
    __table_args__ = (one_of("quantity", *LIMITED), STRICT)
    ticket_id: Mapped[str] = reference("ticket.id", primary_key=True)
    quantity: Mapped[str] = mapped_column(primary_key=True)
    value: Mapped[float]
    note: Mapped[str] = mapped_column(default="")
    made_at: Mapped[datetime]
    made_by: Mapped[str] = reference("staff.id")


class TrackRun(Table):
    """A timed run on a strip: what the clocks said, and what the car weighed."""

    __tablename__ = "track_run"
    __table_args__ = (
        # the setup is one of this very ticket's
        ForeignKeyConstraint(["setup_id", "ticket_id"], ["setup.id", "setup.ticket_id"], ondelete="RESTRICT"),
        rule("something_timed", "elapsed_s IS NOT NULL OR trap_speed_m_s IS NOT NULL"),
        *positive("mass_kg", "distance_m", "elapsed_s", "trap_speed_m_s", "version"),
        rule("temperature_on_earth", "air_temperature_c BETWEEN -60 AND 70"),
        rule("pressure_on_earth", "station_pressure_kpa BETWEEN 40 AND 115"),
        Index(None, "ticket_id", "ran_at"),
        STRICT,
    )
    id: Mapped[str] = own_id()
    ticket_id: Mapped[str] = reference("ticket.id")
    setup_id: Mapped[str] = mapped_column(OpaqueId())
    ran_at: Mapped[datetime]
    mass_kg: Mapped[float]  # car, driver, fuel: as it rolled
    distance_m: Mapped[float]
    elapsed_s: Mapped[float | None]
    trap_speed_m_s: Mapped[float | None]
    air_temperature_c: Mapped[float | None]
    station_pressure_kpa: Mapped[float | None]
    surface: Mapped[str] = mapped_column(default="")
    notes: Mapped[str] = mapped_column(default="")
    set_aside_reason: Mapped[str | None]
    made_at: Mapped[datetime]
    made_by: Mapped[str] = reference("staff.id")
    version: Mapped[int] = mapped_column(default=1)


class FuelMapLayout(Table):
    """The edges of a fuel map's cells, saved under a name."""

    __tablename__ = "fuel_map_layout"
    __table_args__ = (
        UniqueConstraint("name"),
        length("name", 1, 120),
        one_of("load_axis", *LOAD_AXES),
        *not_negative("minimum_time_s"),
        *positive("version"),
        STRICT,
    )
    id: Mapped[str] = own_id()
    name: Mapped[str]
    load_axis: Mapped[str]
    speed_edges_rpm: Mapped[list[float]] = mapped_column(JsonText())
    load_edges: Mapped[list[float]] = mapped_column(JsonText())  # in the unit of the load axis
    minimum_time_s: Mapped[float]
    made_at: Mapped[datetime]
    made_by: Mapped[str] = reference("staff.id")
    version: Mapped[int] = mapped_column(default=1)


class ReferenceCar(Table):
    """A car whose only job is to be the same: pulled every so often, its figures watch the rollers."""

    __tablename__ = "reference_car"
    __table_args__ = (
        UniqueConstraint("vehicle_id"),
        length("name", 1, 120),
        rule("band_forward", "band_high_rpm > band_low_rpm"),
        rule("enough_first_pulls", "first_pulls >= 2"),
        *positive("band_low_rpm", "version"),
        STRICT,
    )
    id: Mapped[str] = own_id()
    vehicle_id: Mapped[str] = reference("vehicle.id")
    name: Mapped[str]
    standard: Mapped[str]
    band_low_rpm: Mapped[float]
    band_high_rpm: Mapped[float]
    first_pulls: Mapped[int]  # how many pulls, from the first on, set the limits
    note: Mapped[str] = mapped_column(default="")
    made_at: Mapped[datetime]
    made_by: Mapped[str] = reference("staff.id")
    retired_at: Mapped[datetime | None]
    version: Mapped[int] = mapped_column(default=1)
    vehicle: Mapped[Vehicle] = relationship(lazy="raise")
