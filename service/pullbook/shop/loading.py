"""Loading what pulls are read from: four statements, however many pulls there are, and no object kept by a session."""

from collections.abc import Mapping, Sequence
from dataclasses import field, fields
from datetime import datetime
from typing import Any

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session, aliased

from pullbook.db.evidence import ColumnBlock, Pull, RawFile
from pullbook.db.joined import JoinedFile
from pullbook.db.tables import Calibration, Cell, ChannelMap, Customer, Setup, Staff, Ticket, Vehicle, WeatherReading
from pullbook.db.tuning import TicketLimit
from pullbook.errors import FieldProblem, NotFound
from pullbook.late_methods import dataclass
from pullbook.runfile.delimited import Header
from pullbook.shop.facts import (
    CalibrationFacts,
    CellFacts,
    JoinedFacts,
    MapFacts,
    PullFacts,
    SetupFacts,
    TicketFacts,
    VehicleFacts,
    WeatherFacts,
)
from pullbook.shop.mapping import RECOGNISED_PREFIX
from pullbook.shop.signing_off import SHOP_ZONE, covers, last_signed
from pullbook.shop.unpacking import headers_of
from pullbook.shop.weather_matching import nearest_after, nearest_before


@dataclass(frozen=True, slots=True)
class StoredColumns:
    """A file's columns as they lie in the database, still packed."""

    reader: str
    headers: tuple[Header, ...]
    block: bytes


@dataclass(frozen=True, slots=True)
class LoadedBeside:
    """A file joined to a pull, with its columns and what they are taken for."""

    facts: JoinedFacts
    channel_map: MapFacts | None
    columns: StoredColumns | None


@dataclass(frozen=True, slots=True)
class Loaded:
    """One pull with everything that its curve is made from."""

    facts: PullFacts
    ticket: TicketFacts
    setup: SetupFacts
    cell: CellFacts
    weather: WeatherFacts | None
    calibration: CalibrationFacts | None
    channel_map: MapFacts | None
    columns: StoredColumns | None
    limits: Mapping[str, float] = field(default_factory=dict)  # the ticket's, by quantity
    joined: tuple[LoadedBeside, ...] = ()  # other loggers' files of the same run, in the order they came


def _named(prefix: str, table: Any, names: Sequence[str]) -> list[Any]:
    return [getattr(table, name).label(f"{prefix}{name}") for name in names]


def _own(kind: type, *worked_out: str) -> tuple[str, ...]:
    return tuple(field.name for field in fields(kind) if field.name not in worked_out)


_OPERATOR = aliased(Staff)
_PULL = _own(
    PullFacts,
    "ticket_number",
    "setup_name",
    "setup_position",
    "cell_name",
    "size_bytes",
    "operator_name",
    "safety_signed",
)
_SETUP, _CELL, _VEHICLE = _own(SetupFacts), _own(CellFacts), _own(VehicleFacts)
# where in a row of PULLS each part begins: taken by place, which is quicker than by name a hundred times a row
_AT_SETUP = len(_PULL)
_AT_CELL = _AT_SETUP + len(_SETUP)
_AT_VEHICLE = _AT_CELL + len(_CELL)
_CALIBRATION = _own(CalibrationFacts)
_WEATHER = _own(WeatherFacts, "age_minutes")


def in_force() -> Any:
    """The id of the calibration in force in a pull's cell when it was taken."""
    calibration = aliased(Calibration)
    return (
        select(calibration.id)
        .where(calibration.cell_id == Pull.cell_id, calibration.valid_from <= Pull.taken_at)
        .order_by(calibration.valid_from.desc(), calibration.id.desc())
        .limit(1)
        .scalar_subquery()
    )


# built once: putting such a statement together costs more than running it
_IDS: Any = bindparam("ids", expanding=True)
PULLS = (
    select(
        *_named("", Pull, _PULL),
        *_named("its_setup_", Setup, _SETUP),
        *_named("its_cell_", Cell, _CELL),
        *_named("vehicle_", Vehicle, _VEHICLE),
        RawFile.size_bytes,
        _OPERATOR.full_name.label("operator_name"),
        Ticket.number.label("ticket_number"),
        Ticket.asked.label("ticket_asked"),
        Ticket.state.label("ticket_state"),
        Customer.id.label("customer_id"),
        Customer.full_name.label("customer_name"),
        ChannelMap.name.label("map_name"),
        ChannelMap.columns.label("map_columns"),
        in_force().label("calibration_id"),
        nearest_before(Pull.cell_id, Pull.taken_at).label("weather_before_id"),
        nearest_after(Pull.cell_id, Pull.taken_at).label("weather_after_id"),
        last_signed(Pull.ticket_id, Pull.cell_id, Pull.taken_at).label("last_signed_at"),
        SHOP_ZONE.label("shop_zone"),
        select(TicketLimit.ticket_id).where(TicketLimit.ticket_id == Pull.ticket_id).exists().label("limited"),
        select(JoinedFile.id).where(JoinedFile.pull_id == Pull.id).exists().label("has_joined"),
    )
    .join(RawFile, RawFile.sha256 == Pull.sha256)
    .join(_OPERATOR, _OPERATOR.id == Pull.operator_id)
    .join(Setup, Setup.id == Pull.setup_id)
    .join(Cell, Cell.id == Pull.cell_id)
    .join(Ticket, Ticket.id == Pull.ticket_id)
    .join(Vehicle, Vehicle.id == Ticket.vehicle_id)
    .join(Customer, Customer.id == Ticket.customer_id)
    .outerjoin(ChannelMap, ChannelMap.id == Pull.channel_map_id)
    .where(Pull.id.in_(_IDS))
)
CALIBRATIONS = select(*_named("", Calibration, _CALIBRATION)).where(Calibration.id.in_(_IDS))
READINGS = select(*_named("", WeatherReading, _WEATHER)).where(WeatherReading.id.in_(_IDS))
BLOCKS = select(ColumnBlock.sha256, ColumnBlock.reader, ColumnBlock.headers, ColumnBlock.block).where(
    ColumnBlock.sha256.in_(_IDS)
)
_JOINED = _own(JoinedFacts)
JOINED = (
    select(
        *_named("", JoinedFile, _JOINED),
        JoinedFile.channel_map_id,
        ChannelMap.name.label("map_name"),
        ChannelMap.columns.label("map_columns"),
    )
    .outerjoin(ChannelMap, ChannelMap.id == JoinedFile.channel_map_id)
    .where(JoinedFile.pull_id.in_(_IDS))
    .order_by(JoinedFile.received_at, JoinedFile.id)
)
LIMITS = select(TicketLimit.ticket_id, TicketLimit.quantity, TicketLimit.value).where(TicketLimit.ticket_id.in_(_IDS))


def load_pulls(session: Session, pull_ids: Sequence[str]) -> list[Loaded]:
    """Everything about these pulls, in the order asked for. NotFound names those that do not exist."""
    wanted = list(dict.fromkeys(pull_ids))
    rows = {row.id: row for row in session.connection().execute(PULLS, {"ids": wanted})}
    missing = [pull_id for pull_id in wanted if pull_id not in rows]
    if missing:
        raise NotFound(
            f"There is no pull {', '.join(missing)}.",
            *(FieldProblem("pull_id", pull_id, "the id of a pull on record") for pull_id in missing),
        )
    weather_ids = {row.weather_before_id for row in rows.values()} | {row.weather_after_id for row in rows.values()}
    readings = {row.id: row for row in _some(session, READINGS, weather_ids)}
    calibrations = {
        row.id: CalibrationFacts(**_part(row, 0, _CALIBRATION))
        for row in _some(session, CALIBRATIONS, {row.calibration_id for row in rows.values()})
    }
    having = {row.id for row in rows.values() if row.has_joined}
    beside = _some(session, JOINED, having) if having else ()
    blocks = {
        row.sha256: StoredColumns(row.reader, headers_of(row.headers), row.block)
        for row in _some(session, BLOCKS, {row.sha256 for row in (*rows.values(), *beside)})
    }
    limits: dict[str, dict[str, float]] = {row.ticket_id: {} for row in rows.values() if row.limited}
    for row in _some(session, LIMITS, set(limits)) if limits else ():
        limits[row.ticket_id][row.quantity] = row.value
    joined = {pull_id: _beside(beside, pull_id, blocks) for pull_id in having}
    return [_loaded(rows[pull_id], readings, calibrations, blocks, limits, joined) for pull_id in wanted]


def _beside(rows: Sequence[Any], pull_id: str, blocks: Mapping[str, StoredColumns]) -> tuple[LoadedBeside, ...]:
    return tuple(
        LoadedBeside(JoinedFacts(**_part(row, 0, _JOINED)), _map_facts(row), blocks.get(row.sha256))
        for row in rows
        if row.pull_id == pull_id
    )


def _some(session: Session, statement: Any, ids: set[str | None]) -> Sequence[Any]:
    # on the connection itself: plain columns need none of the object loading, a third of what such a statement costs
    told = {"ids": sorted(identity for identity in ids if identity is not None)}
    return session.connection().execute(statement, told).all()


def _part(row: Any, first: int, names: Sequence[str]) -> dict[str, Any]:
    """The columns of a row from the first on, under these names."""
    return dict(zip(names, row[first : first + len(names)], strict=True))


def _loaded(
    row: Any,
    readings: Mapping[str, Any],
    calibrations: Mapping[str, CalibrationFacts],
    blocks: Mapping[str, StoredColumns],
    limits: Mapping[str, Mapping[str, float]],
    joined: Mapping[str, tuple[LoadedBeside, ...]],
) -> Loaded:
    setup, cell = SetupFacts(**_part(row, _AT_SETUP, _SETUP)), CellFacts(**_part(row, _AT_CELL, _CELL))
    facts = PullFacts(
        **_part(row, 0, _PULL),
        ticket_number=row.ticket_number,
        setup_name=setup.name,
        setup_position=setup.position,
        cell_name=cell.name,
        size_bytes=row.size_bytes,
        operator_name=row.operator_name,
        safety_signed=covers(row.last_signed_at, row.taken_at, row.shop_zone),
    )
    ticket = TicketFacts(
        id=row.ticket_id,
        number=row.ticket_number,
        asked=row.ticket_asked,
        state=row.ticket_state,
        customer_id=row.customer_id,
        customer_name=row.customer_name,
        vehicle=VehicleFacts(**_part(row, _AT_VEHICLE, _VEHICLE)),
    )
    near = [readings[identity] for identity in (row.weather_before_id, row.weather_after_id) if identity is not None]
    return Loaded(
        facts=facts,
        ticket=ticket,
        setup=setup,
        cell=cell,
        weather=_nearest(near, row.taken_at),
        calibration=calibrations.get(row.calibration_id),
        channel_map=_map_facts(row),
        columns=blocks.get(row.sha256),
        limits=limits.get(row.ticket_id, {}),
        joined=joined.get(row.id, ()),
    )


def _nearest(near: Sequence[Any], at: datetime) -> WeatherFacts | None:
    """The reading closest in time; of two as close, the earlier, which was there when the pull was taken."""
    if not near:
        return None
    chosen = min(near, key=lambda reading: abs((reading.read_at - at).total_seconds()))
    age_minutes = abs((chosen.read_at - at).total_seconds()) / 60.0
    return WeatherFacts(**_part(chosen, 0, _WEATHER), age_minutes=age_minutes)


def _map_facts(row: Any) -> MapFacts | None:
    if row.channel_map_id is None:
        return None
    recognised = row.map_name.startswith(RECOGNISED_PREFIX)
    return MapFacts(row.channel_map_id, row.map_name, recognised, tuple(row.map_columns))
