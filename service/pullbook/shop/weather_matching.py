"""Matching weather to pulls: what a reading says of the air, which reading belongs to a pull, what is wrong with it."""

from datetime import datetime, timedelta

from sqlalchemy import Exists, ScalarSelect, exists, select
from sqlalchemy.orm import InstrumentedAttribute, aliased

from pullbook.db.tables import WeatherReading
from pullbook.errors import FieldProblem, Invalid
from pullbook.measure.air import Air, air_from_dew_point, air_from_relative_humidity, air_from_wet_bulb

CLOCK_SKEW = timedelta(minutes=2)
_AIR = {
    "relative_pct": air_from_relative_humidity,
    "dew_point_c": air_from_dew_point,
    "wet_bulb_c": air_from_wet_bulb,
}


def air_of(air_temperature_c: float, station_pressure_kpa: float, humidity_kind: str, humidity_value: float) -> Air:
    """The air, from humidity in any of its three forms. AirError names the figure that cannot be."""
    return _AIR[humidity_kind](air_temperature_c, station_pressure_kpa, humidity_value)


def refuse_future(field: str, at: datetime, now: datetime) -> None:
    """Invalid when a time lies ahead of the shop's clock by more than two minutes, or comes from a clock never set."""
    if at > now + CLOCK_SKEW:
        ahead = round((at - now).total_seconds() / 60.0)
        raise Invalid(
            f"{field} is {ahead} min ahead of the shop's clock, which says {now.isoformat(timespec='seconds')}. "
            "Check clock and time zone of the computer it comes from.",
            FieldProblem(field, at.isoformat(), f"no later than {now.isoformat(timespec='seconds')}"),
        )
    if at.year < 2001:
        raise Invalid(
            f"{field} is in {at.year}: that clock was never set.",
            FieldProblem(field, at.isoformat(), "the time it really was, with offset"),
        )


def nearest_before(cell_id: InstrumentedAttribute[str], at: InstrumentedAttribute[datetime]) -> ScalarSelect[str]:
    """The id of the last standing reading of a cell at or before a time: one seek in the index, for each outer row."""
    reading = aliased(WeatherReading)
    return (
        select(reading.id)
        .where(reading.cell_id == cell_id, reading.read_at <= at, ~_superseded(reading))
        .order_by(reading.read_at.desc(), reading.id.desc())
        .limit(1)
        .scalar_subquery()
    )


def nearest_after(cell_id: InstrumentedAttribute[str], at: InstrumentedAttribute[datetime]) -> ScalarSelect[str]:
    """The id of the first standing reading of a cell after a time."""
    reading = aliased(WeatherReading)
    return (
        select(reading.id)
        .where(reading.cell_id == cell_id, reading.read_at > at, ~_superseded(reading))
        .order_by(reading.read_at, reading.id.desc())
        .limit(1)
        .scalar_subquery()
    )


def _superseded(reading: type[WeatherReading]) -> Exists:
    newer = aliased(WeatherReading)
    return exists().where(newer.supersedes_id == reading.id)
