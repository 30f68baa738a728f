"""The tray's page, the devices' page, and the program that cells' computers run."""

from collections.abc import Sequence
from datetime import datetime
from typing import ClassVar

from fastapi import Request
from sqlalchemy import select
from sqlalchemy.orm import Session
from starlette.responses import Response

from pullbook.db.evidence import RawFile
from pullbook.db.senders import Device, TrayFile
from pullbook.db.tables import Cell, Setup, Staff, Ticket, Vehicle
from pullbook.deps import Owner, PagePerson, ReadSession, SettingsDep
from pullbook.late_methods import dataclass
from pullbook.late_routes import LateRouter
from pullbook.pages.desk_shown import CellBrief
from pullbook.pages.finding import cells
from pullbook.pages.render import around_person, draw
from pullbook.pages.told import Shown, told
from pullbook.settings import HOUSE
from pullbook.shop.sending_in import CLOCK_DOUBT_S

router = LateRouter(include_in_schema=False)

SENDER = HOUSE / "service" / "pullbook" / "sending" / "cell_sender.py"
FILES_SHOWN, PLACES_SHOWN = 60, 40
OPEN_STATES = ("in_cell", "checked_in", "ready", "booked", "on_hold")


@dataclass(frozen=True)
class Place:
    """A setup that a file may belong to."""

    setup_id: str
    words: str
    cell_id: str | None


@dataclass(frozen=True)
class TrayLine:
    """A file that waits. `places`: where it may belong, the likeliest first."""

    id: str
    file_name: str
    size_bytes: int
    cell_name: str
    device_name: str
    kind: str
    taken_at: datetime
    received_at: datetime
    clock_off_s: float | None  # told where it is more than two minutes
    places: tuple[Place, ...]


@dataclass(frozen=True)
class TrayPage(Shown):
    """What came without a ticket."""

    template: ClassVar[str] = "cell/tray.html"
    lines: tuple[TrayLine, ...] = told("What waits, the latest taken first.")
    may_assign: bool = told("Whether whoever looks may say which pull a file is.")


@dataclass(frozen=True)
class DeviceLine:
    """A device and whether it was heard of lately."""

    id: str
    name: str
    cell_name: str
    made_by_name: str
    made_at: datetime
    last_used_at: datetime | None
    revoked_at: datetime | None


@dataclass(frozen=True)
class DevicesPage(Shown):
    """The cells' own computers."""

    template: ClassVar[str] = "owner/devices.html"
    devices: tuple[DeviceLine, ...] = told("Every device, newest first.")
    cells: tuple[CellBrief, ...] = told("Cells to add one to.")
    address: str = told("The address that devices send to.")


@router.get("/tray")
def tray(request: Request, session: ReadSession, person: PagePerson) -> Response:
    """Files that came from a cell's computer without a ticket."""
    page = TrayPage(lines=_lines(session), may_assign=person.role in ("tuner", "owner"))
    return draw(around_person(request, session, person, "tray"), page)


def _lines(session: Session) -> tuple[TrayLine, ...]:
    places = _places(session)
    rows = session.execute(
        select(TrayFile, Cell.name, Device.name, RawFile.size_bytes)
        .join(Cell, Cell.id == TrayFile.cell_id)
        .join(Device, Device.id == TrayFile.device_id)
        .join(RawFile, RawFile.sha256 == TrayFile.sha256)
        .where(TrayFile.settled_at.is_(None))
        .order_by(TrayFile.taken_at.desc(), TrayFile.id.desc())
        .limit(FILES_SHOWN)
    )
    return tuple(
        TrayLine(
            id=row.id,
            file_name=row.file_name,
            size_bytes=size,
            cell_name=cell_name,
            device_name=device_name,
            kind=row.kind,
            taken_at=row.taken_at,
            received_at=row.received_at,
            clock_off_s=row.clock_ahead_s if abs(row.clock_ahead_s or 0.0) > CLOCK_DOUBT_S else None,
            places=_this_cell_first(places, row.cell_id),
        )
        for row, cell_name, device_name, size in rows
    )


def _this_cell_first(places: Sequence[Place], cell_id: str) -> tuple[Place, ...]:
    return tuple(sorted(places, key=lambda place: place.cell_id != cell_id))


def _places(session: Session) -> list[Place]:
    """Setups of tickets that are open: the cars in a cell first, each ticket's latest setup first."""
    rows = session.execute(
        select(Setup.id, Setup.name, Ticket.number, Ticket.state, Ticket.cell_id, Vehicle.make, Vehicle.model)
        .join(Ticket, Ticket.id == Setup.ticket_id)
        .join(Vehicle, Vehicle.id == Ticket.vehicle_id)
        .where(Ticket.state.in_(OPEN_STATES))
        .order_by(Ticket.number.desc(), Setup.position.desc())
        .limit(PLACES_SHOWN)
    ).all()
    ordered = sorted(rows, key=lambda row: OPEN_STATES.index(row.state))
    return [Place(row.id, f"{row.number} · {row.make} {row.model} · {row.name}", row.cell_id) for row in ordered]


@router.get("/devices")
def devices(request: Request, session: ReadSession, person: Owner, settings: SettingsDep) -> Response:
    """The cells' own computers, and a place to add one."""
    rows = session.execute(
        select(Device, Cell.name, Staff.full_name)
        .join(Cell, Cell.id == Device.cell_id)
        .join(Staff, Staff.id == Device.made_by)
        .order_by(Device.revoked_at.is_not(None), Device.id.desc())
    )
    lines = tuple(
        DeviceLine(row.id, row.name, cell_name, maker, row.made_at, row.last_used_at, row.revoked_at)
        for row, cell_name, maker in rows
    )
    page = DevicesPage(devices=lines, cells=cells(session), address=settings.public_url)
    return draw(around_person(request, session, person, "devices"), page)


@router.get("/cell_sender.py")
def program(person: PagePerson) -> Response:
    """The program that a cell's computer runs, to be kept there."""
    headers = {"Content-Disposition": 'attachment; filename="cell_sender.py"', "Cache-Control": "no-cache"}
    return Response(SENDER.read_bytes(), headers=headers, media_type="text/x-python")
