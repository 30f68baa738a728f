"""The owner's pages about people and the shop itself: who works here, and how the shop shows itself."""

from fastapi import Request
from sqlalchemy import select
from starlette.responses import Response

from pullbook.db.tables import Staff
from pullbook.deps import Owner, ReadSession
from pullbook.errors import NotFound
from pullbook.late_routes import LateRouter
from pullbook.measure.correction import STANDARDS
from pullbook.pages.owner_shown import Choices, PersonLine, ShopPage, StaffPage
from pullbook.pages.render import draw, frame, shop_row, units_of
from pullbook.pages.time_zones import zone_names
from pullbook.shop.charging import DEFAULT_CURRENCY
from pullbook.shown_units import CHOICES

router = LateRouter(include_in_schema=False)


@router.get("/staff")
def staff(request: Request, session: ReadSession, person: Owner) -> Response:
    """Who works here, and a place to add somebody."""
    rows = session.scalars(select(Staff).order_by(Staff.disabled_at.is_not(None), Staff.full_name))
    people = tuple(
        PersonLine(
            id=row.id,
            version=row.version,
            full_name=row.full_name,
            sign_in_name=row.sign_in_name,
            role=row.role,
            disabled_at=row.disabled_at,
            second_step=row.code_since is not None,
            is_you=row.id == person.id,
        )
        for row in rows
    )
    return draw(frame(request, shop_row(session), person, "staff"), StaffPage(people=people))


@router.get("/shop")
def shop(request: Request, session: ReadSession, person: Owner) -> Response:
    """Name, address, time zone, usual standard and units."""
    row = shop_row(session)
    if row is None:
        raise NotFound("The shop is not set up yet.")
    shown = units_of(row)
    names = dict.fromkeys((row.time_zone, *zone_names()))
    page = ShopPage(
        version=row.version,
        name=row.name,
        address=row.address,
        time_zone=row.time_zone,
        default_standard=row.default_standard,
        power_unit=row.power_unit,
        torque_unit=row.torque_unit,
        pressure_unit=row.pressure_unit,
        temperature_unit=shown.temperature,
        speed_unit=shown.speed,
        keep_customers_months=row.keep_customers_months,
        keep_photos_months=row.keep_photos_months,
        currency=row.currency or DEFAULT_CURRENCY,
        prices_include_tax=bool(row.prices_include_tax),
        time_zones=tuple((name, name) for name in names),
        standards=tuple((one.identifier, one.title) for one in STANDARDS.values()),
        power_units=_units("power"),
        torque_units=_units("torque"),
        pressure_units=_units("pressure"),
        temperature_units=_units("temperature"),
        speed_units=_units("speed"),
    )
    return draw(frame(request, row, person, "shop"), page)


def _units(dimension: str) -> Choices:
    return tuple((label, label) for label in CHOICES[dimension])
