"""A ticket on paper: the job sheet that lies in the car, and the checklist as it is signed in the cell."""

from datetime import datetime
from io import BytesIO
from typing import Annotated, ClassVar

import segno
from fastapi import Query, Request
from sqlalchemy import select
from sqlalchemy.orm import Session
from starlette.responses import Response

from pullbook.db.tables import Cell, Customer, Ticket, Vehicle
from pullbook.deps import Now, PagePerson, ReadSession, SettingsDep, Tuner
from pullbook.errors import NotFound
from pullbook.late_methods import dataclass
from pullbook.late_routes import LateRouter
from pullbook.pages.arrival_shown import SigningLine, arrival_lines, signing_lines
from pullbook.pages.desk_shown import CellBrief
from pullbook.pages.finding import cells, vehicle_title
from pullbook.pages.limits_shown import ticket_limits
from pullbook.pages.render import draw, frame, shop_row, units_of
from pullbook.pages.told import Shown, told
from pullbook.shop.accepting import waiver_in_force
from pullbook.shop.signing_off import checklist_in_force

router = LateRouter(include_in_schema=False)
MOST_LETTERS = 600  # of a text, so that the sheet stays one page; the whole of it stands on the ticket


@dataclass(frozen=True)
class JobHead:
    """Whose car it is and what it came for."""

    id: str
    number: int
    customer_name: str
    customer_phone: str
    vehicle: str
    plate: str
    vin: str
    engine: str
    asked: str
    notes: str
    cell_id: str | None
    cell_name: str | None
    booked_from: datetime | None
    booked_to: datetime | None
    waiver_name: str
    waiver_at: datetime | None
    arrival: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class JobSheetPage(Shown):
    """A ticket on one sheet of paper."""

    template: ClassVar[str] = "desk/job_sheet.html"
    job: JobHead = told("Whose car, what is asked, how it came.")
    address: str = told("The ticket's address, as a telephone opens it.")
    code_svg: str = told("That address as a QR code, as finished markup.")
    limits: tuple[str, ...] = told("What must not be passed, in words.")
    limits_advice: str = told("What such limits are worth.")
    points: tuple[str, ...] = told("The safety checklist's points.")
    list_number: int = told("The number of that list.")
    waiver_number: int = told("The number of the terms in force.")
    now: datetime = told("The time it is drawn at.")


@dataclass(frozen=True)
class CheckPage(Shown):
    """The safety checklist, to be gone through at the car."""

    template: ClassVar[str] = "cell/check.html"
    job: JobHead = told("Whose car, what is asked, how it came.")
    cells: tuple[CellBrief, ...] = told("The cells to choose from.")
    cell_id: str | None = told("The cell that is chosen at first.")
    points: tuple[str, ...] = told("The list's points, in their order.")
    list_id: str = told("The list's id.")
    list_number: int = told("The list's number.")
    signings: tuple[SigningLine, ...] = told("Who signed for this ticket before, newest first.")


def _head(session: Session, ticket_id: str) -> JobHead:
    row = session.execute(
        select(Ticket, Customer, Vehicle, Cell.name)
        .join(Customer, Customer.id == Ticket.customer_id)
        .join(Vehicle, Vehicle.id == Ticket.vehicle_id)
        .outerjoin(Cell, Cell.id == Ticket.cell_id)
        .where(Ticket.id == ticket_id)
    ).one_or_none()
    if row is None:
        raise NotFound("There is no such ticket.")
    ticket, customer, vehicle, cell_name = row
    return JobHead(
        id=ticket.id,
        number=ticket.number,
        customer_name=customer.full_name,
        customer_phone=customer.phone,
        vehicle=vehicle_title(vehicle.model_year, vehicle.make, vehicle.model),
        plate=vehicle.plate,
        vin=vehicle.vin,
        engine=vehicle.engine,
        asked=_short(ticket.asked),
        notes=_short(ticket.notes),
        cell_id=ticket.cell_id,
        cell_name=cell_name,
        booked_from=ticket.booked_from,
        booked_to=ticket.booked_to,
        waiver_name=ticket.waiver_name,
        waiver_at=ticket.waiver_at,
        arrival=tuple((name, _short(text)) for name, text in arrival_lines(ticket)),
    )


def _short(text: str) -> str:
    if len(text) <= MOST_LETTERS:
        return text
    return f"{text[:MOST_LETTERS].rsplit(' ', 1)[0]} … (the whole text stands on the ticket)"


@router.get("/tickets/{ticket_id}/job-sheet")
def job_sheet(
    request: Request, ticket_id: str, session: ReadSession, person: PagePerson, now: Now, settings: SettingsDep
) -> Response:
    """A ticket on one sheet of paper, with a code that leads back to it."""
    shop = shop_row(session)
    job, limits = _head(session, ticket_id), ticket_limits(session, ticket_id, units_of(shop))
    listed, address = checklist_in_force(session), f"{settings.public_url}/tickets/{ticket_id}"
    page = JobSheetPage(
        job=job,
        address=address,
        code_svg=_code(address),
        limits=tuple(line.words for line in limits.lines),
        limits_advice=limits.advice,
        points=tuple(listed.points),
        list_number=listed.number,
        waiver_number=waiver_in_force(session).number,
        now=now,
    )
    return draw(frame(request, shop, person), page)


def _code(address: str) -> str:
    drawn = BytesIO()
    code = segno.make(address, error="m", micro=False)
    code.save(drawn, kind="svg", xmldecl=False, svgns=True, border=4, dark="#000", light="#fff", omitsize=True)
    return drawn.getvalue().decode()


@router.get("/tickets/{ticket_id}/check")
def check(
    request: Request,
    ticket_id: str,
    session: ReadSession,
    person: Tuner,
    cell_id: Annotated[str, Query(max_length=40)] = "",
) -> Response:
    """The safety checklist in large letters, to be ticked at the car."""
    job, listed = _head(session, ticket_id), checklist_in_force(session)
    page = CheckPage(
        job=job,
        cells=cells(session),
        cell_id=cell_id or job.cell_id,
        points=tuple(listed.points),
        list_id=listed.id,
        list_number=listed.number,
        signings=signing_lines(session, ticket_id),
    )
    return draw(frame(request, shop_row(session), person), page)
