"""The shop itself: /api/v1/shop."""

from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from pullbook.api.shaping import Words
from pullbook.api.staff import Name, TimeZone
from pullbook.db.tables import Shop
from pullbook.deps import Now, Owner, ReadSession, SignedIn, WriteSession
from pullbook.errors import NotFound, Stale
from pullbook.late_routes import LateRouter
from pullbook.measure.correction import STANDARDS
from pullbook.shop import auditing

router = LateRouter(prefix="/api/v1/shop", tags=["shop"])

FIELDS = ("name", "address", "time_zone", "default_standard", "power_unit", "torque_unit", "pressure_unit")
LATER = ("currency", "prices_include_tax", "temperature_unit", "speed_unit")  # null in the record until the owner says
TERMS = ("keep_customers_months", "keep_photos_months")
Months = Annotated[int | None, Field(ge=1, le=1200)]


def known_standard(value: str) -> str:
    """A correction standard by its name; every page of a curve opens under the shop's usual one."""
    if value not in STANDARDS:
        raise ValueError(f"one of {', '.join(STANDARDS)} would do")
    return value


class ShopShape(BaseModel):
    """The shop's name, place in time, the units it shows, and how long it keeps people (null: for good)."""

    model_config = ConfigDict(extra="forbid")
    name: Name
    address: Annotated[Words, Field(max_length=1000)] = ""
    time_zone: TimeZone
    default_standard: Annotated[str, AfterValidator(known_standard)] = "iso_1585"
    power_unit: Literal["kW", "hp", "PS"] = "kW"
    torque_unit: Literal["N·m", "lbf·ft", "kgf·m"] = "N·m"
    pressure_unit: Literal["kPa", "bar", "psi", "hPa", "inHg"] = "kPa"
    currency: Annotated[str, Field(pattern=r"^[A-Z]{3}$", description="By its three letters (ISO 4217).")] = "EUR"
    prices_include_tax: bool = False
    temperature_unit: Literal["°C", "°F"] = "°C"
    speed_unit: Literal["km/h", "mph"] = "km/h"
    keep_customers_months: Months = None
    keep_photos_months: Months = None
    version: Annotated[int, Field(ge=1, le=2**31)] = 1


def told(row: Shop) -> ShopShape:
    """The shop as the API tells of it."""
    later = {name: getattr(row, name) for name in LATER if getattr(row, name) is not None}
    return ShopShape(**{name: getattr(row, name) for name in (*FIELDS, *TERMS, "version")}, **later)


@router.get("")
def read(session: ReadSession, person: SignedIn) -> ShopShape:
    """The shop's name, time zone, usual standard and units."""
    row = session.get(Shop, 1)
    if row is None:
        raise NotFound("the shop is not set up yet")
    return told(row)


@router.put("")
def change(body: ShopShape, session: WriteSession, by: Owner, now: Now) -> ShopShape:
    """Change them. 409 with both when somebody changed them meanwhile."""
    row = session.get(Shop, 1, with_for_update=True)
    if row is None:
        raise NotFound("the shop is not set up yet")
    before = told(row)
    if body.version != row.version:
        raise Stale(before.model_dump(), body.model_dump())
    for name in (*FIELDS, *LATER, *TERMS):
        setattr(row, name, getattr(body, name))
    row.version += 1
    auditing.note(session, now, by.id, "changed", "shop", "1", before.model_dump(), told(row).model_dump())
    return told(row)
