"""Who works here: /api/v1/staff."""

from datetime import datetime
from typing import Annotated, Literal
from zoneinfo import available_timezones

from fastapi import APIRouter, Response
from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints
from sqlalchemy import select

from pullbook.api.session import PersonAnswer, give_cookie, told
from pullbook.api.shaping import one_line
from pullbook.db.tables import Staff
from pullbook.deps import Now, Owner, ReadSession, SettingsDep, SignedIn, WriteSession
from pullbook.json_answers import Json
from pullbook.shop import signing_in

router = APIRouter(prefix="/api/v1/staff", tags=["staff"])

SignInName = Annotated[str, Field(min_length=1, max_length=120, pattern=r"^\s*[^\s]+\s*$")]
Name = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200), AfterValidator(one_line)]
Password = Annotated[str, Field(max_length=256)]


def known_time_zone(value: str) -> str:
    """A time zone by its name in the IANA list."""
    if value not in available_timezones():
        raise ValueError("a time zone by its name would do, like Europe/Vienna or UTC")
    return value


TimeZone = Annotated[str, AfterValidator(known_time_zone)]


class FirstOwner(BaseModel):
    """The first owner, with the one-time token of the set-up link."""

    model_config = ConfigDict(extra="forbid")
    token: str = Field(min_length=1, max_length=200)
    sign_in_name: SignInName
    full_name: Name
    password: Password
    shop_name: Name
    time_zone: TimeZone = "UTC"


class NewStaff(BaseModel):
    """A new member of staff."""

    model_config = ConfigDict(extra="forbid")
    sign_in_name: SignInName
    full_name: Name
    role: Literal["front_desk", "tuner", "owner"]
    password: Password


@router.post("/first", status_code=201)
def set_up(
    body: FirstOwner, response: Response, session: WriteSession, settings: SettingsDep, now: Now
) -> PersonAnswer:
    """Set the shop up and become its owner; the answer signs them in. 410 once the link was used or has ended."""
    person = signing_in.set_up_shop(session, now, **body.model_dump())
    give_cookie(response, settings, signing_in.open_session(session, person, now))
    return told(person)


@router.post("", status_code=201)
def add(body: NewStaff, session: WriteSession, by: Owner, now: Now) -> PersonAnswer:
    """Add a member of staff. 409 when the sign-in name is taken."""
    return told(signing_in.add_staff(session, now, by.id, **body.model_dump()))


class StaffAnswer(PersonAnswer):
    """A member of staff, and whether they still work here."""

    disabled_at: datetime | None


class StaffList(BaseModel):
    """Everybody who works here."""

    items: list[StaffAnswer]
    next: str | None


@router.get("", response_model=StaffList)
def everybody(session: ReadSession, person: SignedIn) -> Json:
    """Everybody who works here, newest first, in one list."""
    columns = (Staff.id, Staff.sign_in_name, Staff.full_name, Staff.role, Staff.disabled_at)
    rows = session.execute(select(*columns).order_by(Staff.id.desc())).mappings()
    return Json({"items": [dict(row) for row in rows], "next": None})
