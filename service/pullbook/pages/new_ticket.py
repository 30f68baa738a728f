"""The page of a new ticket: whose car, what it did here before, what is asked, where and when."""

from datetime import date, datetime, timedelta
from typing import Annotated, ClassVar
from zoneinfo import ZoneInfo

from fastapi import Query, Request
from pydantic import AfterValidator, AwareDatetime
from sqlalchemy import select
from sqlalchemy.orm import Session
from starlette.responses import Response

from pullbook.db.money import PriceItem
from pullbook.deps import Now, PagePerson, ReadSession, SettingsDep
from pullbook.late_methods import dataclass
from pullbook.late_routes import LateRouter
from pullbook.pages.cell import read_settings
from pullbook.pages.charges_shown import cents
from pullbook.pages.day_plan import day_plan
from pullbook.pages.desk_shown import CellBrief, CustomerBrief, DayPlan, Offered, VehicleBrief, Wanted
from pullbook.pages.finding import cells, customer_brief, vehicle_brief
from pullbook.pages.render import draw, frame, shop_row, units_of
from pullbook.pages.returning_car import ReturningCar, returning_car
from pullbook.pages.told import Shown, told
from pullbook.shop.charging import money_of

router = LateRouter(include_in_schema=False)
USUALLY = timedelta(hours=1)


@dataclass(frozen=True)
class NewTicketPage(Shown):
    """A new ticket."""

    template: ClassVar[str] = "desk/new_ticket.html"
    cells: tuple[CellBrief, ...] = told("The cells to choose from.")
    customer: CustomerBrief | None = told("The customer, where the address names one.")
    vehicle: VehicleBrief | None = told("The car, where the address names one.")
    returning: ReturningCar | None = told("What that car did here before.")
    items: tuple[Offered, ...] = told("What the price list offers.")
    wanted: Wanted = told("Cell and hours, where the address names them.")
    plan: DayPlan = told("The day that is wanted, or today.")
    now: datetime = told("The time: what the booking begins with.")


def _within_reach(at: datetime) -> datetime:
    if not 1900 <= at.year <= 2200:  # as days of the plan are
        raise ValueError(f"the year {at.year} is out of reach; 1900 to 2200 would do")
    return at


@router.get("/tickets/new")
def new_ticket(
    request: Request,
    session: ReadSession,
    person: PagePerson,
    settings: SettingsDep,
    now: Now,
    customer_id: str | None = None,
    vehicle_id: str | None = None,
    cell_id: str = "",
    begins: Annotated[Annotated[AwareDatetime, AfterValidator(_within_reach)] | None, Query()] = None,
    day: Annotated[date | None, Query()] = None,
) -> Response:
    """Customer, car, what is asked, cell and time: by the keyboard alone in half a minute."""
    shop = shop_row(session)
    around = frame(request, shop, person, "new")
    vehicle = vehicle_brief(session, vehicle_id) if vehicle_id else None
    how = read_settings(shop, settings)
    shown = day or (begins or now).astimezone(ZoneInfo(around.time_zone)).date()
    page = NewTicketPage(
        cells=cells(session),
        customer=customer_brief(session, vehicle.customer_id if vehicle else customer_id),
        vehicle=vehicle,
        returning=returning_car(session, vehicle.id, how, units_of(shop)) if vehicle else None,
        items=_offered(session),
        wanted=Wanted(cell_id, begins, begins + USUALLY if begins else None),
        plan=day_plan(session, shown, now, around.time_zone),
        now=now,
    )
    return draw(around, page)


def _offered(session: Session) -> tuple[Offered, ...]:
    currency = money_of(session).currency
    rows = session.scalars(
        select(PriceItem)
        .where(PriceItem.retired_at.is_(None))
        .order_by(PriceItem.kind_of_work, PriceItem.name, PriceItem.id)
    )
    return tuple(
        Offered(
            row.id,
            row.name,
            row.kind_of_work,
            f"{cents(row.unit_price_cents)} {currency}{f' / {row.unit}' if row.unit else ''}",
        )
        for row in rows
    )
