"""Who works here: /api/v1/staff."""

from datetime import datetime
from typing import Annotated, Literal
from zoneinfo import available_timezones

from fastapi import Path, Response
from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints
from sqlalchemy import select

from pullbook.api.editing import apply, refuse_stale
from pullbook.api.session import PersonAnswer, give_cookie, told
from pullbook.api.shaping import one_line
from pullbook.db.tables import Staff
from pullbook.deps import Now, Owner, ReadSession, SettingsDep, SignedIn, WriteSession
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.shop import colleagues, second_step, signing_in

router = LateRouter(prefix="/api/v1/staff", tags=["staff"])

SignInName = Annotated[str, Field(min_length=1, max_length=120, pattern=r"^\s*[^\s]+\s*$")]
Name = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200), AfterValidator(one_line)]
Password = Annotated[str, Field(max_length=256)]
Role = Literal["read_only", "front_desk", "tuner", "owner"]
StaffId = Annotated[str, Path(description="The person's id.")]


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
    role: Role
    password: Password


@router.post("/first", status_code=201)
def set_up(
    body: FirstOwner, response: Response, session: WriteSession, settings: SettingsDep, now: Now
) -> PersonAnswer:
    """Set the shop up and become its owner; the answer signs them in. 410 once the link was used or has ended."""
    person = signing_in.set_up_shop(session, now, **body.model_dump())
    give_cookie(response, settings, signing_in.open_session(session, person, now, settings.session_hours))
    return told(person)


@router.post("", status_code=201)
def add(body: NewStaff, session: WriteSession, by: Owner, now: Now) -> PersonAnswer:
    """Add a member of staff. 409 when the sign-in name is taken."""
    return told(signing_in.add_staff(session, now, by.id, **body.model_dump()))


class StaffAnswer(PersonAnswer):
    """A member of staff, whether they still work here, and whether they come in by a second step."""

    disabled_at: datetime | None
    second_step: bool
    version: int


class StaffChange(BaseModel):
    """What to change of a colleague. `works_here` false: they can sign in no more; what they did stays theirs."""

    model_config = ConfigDict(extra="forbid")
    version: int
    full_name: Name | None = None
    role: Role | None = None
    works_here: bool | None = None


class NewPassword(BaseModel):
    """A password to pass on to a colleague."""

    model_config = ConfigDict(extra="forbid")
    password: Password


class StaffList(BaseModel):
    """Everybody who works here."""

    items: list[StaffAnswer]
    next: str | None


COLUMNS = (
    *(getattr(Staff, name) for name in StaffAnswer.model_fields if name != "second_step"),
    Staff.code_since.is_not(None).label("second_step"),
)


@router.get("", response_model=StaffList)
def everybody(session: ReadSession, person: SignedIn) -> Json:
    """Everybody who works here, newest first, in one list."""
    rows = session.execute(select(*COLUMNS).order_by(Staff.id.desc())).mappings()
    return Json({"items": [dict(row) for row in rows], "next": None})


@router.patch("/{staff_id}", response_model=StaffAnswer)
def change(staff_id: StaffId, asked: StaffChange, session: WriteSession, by: Owner, now: Now) -> Json:
    """Name, role, or whether they still work here. 409 when it would leave the shop without an owner."""
    row = colleagues.colleague(session, staff_id)
    wanted = asked.model_dump(exclude_none=True, exclude={"version", "works_here"})
    if asked.works_here is not None and asked.works_here != (row.disabled_at is None):
        wanted["disabled_at"] = None if asked.works_here else now
    refuse_stale(row, asked.version, wanted, "member of staff")
    disabled = wanted.get("disabled_at", row.disabled_at) is not None
    colleagues.refuse_without_owner(session, row, role=wanted.get("role", row.role), disabled=disabled)
    apply(session, now, by.id, row, wanted, "staff")
    if disabled:
        signing_in.end_sessions_of(session, staff_id, now)
    session.flush()
    return _one(session, staff_id)


@router.put("/{staff_id}/password", response_model=StaffAnswer)
def renew(staff_id: StaffId, asked: NewPassword, session: WriteSession, by: Owner, now: Now) -> Json:
    """For a colleague who forgot theirs; every session of theirs ends."""
    colleagues.renew_password(session, now, by.id, staff_id, asked.password)
    session.flush()
    return _one(session, staff_id)


@router.delete("/{staff_id}/second-step", response_model=StaffAnswer)
def without_second_step(staff_id: StaffId, session: WriteSession, by: Owner, now: Now) -> Json:
    """For a colleague whose telephone is gone, spare codes and all."""
    second_step.take_off(session, now, by.id, staff_id)
    session.flush()
    return _one(session, staff_id)


def _one(session: WriteSession, staff_id: str) -> Json:
    return Json(dict(session.execute(select(*COLUMNS).where(Staff.id == staff_id)).mappings().one()))
