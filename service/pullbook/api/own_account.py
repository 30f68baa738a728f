"""One's own account: password, second step, and where one is signed in."""

from datetime import datetime
from typing import Annotated

from fastapi import Path, Request
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.api.shaping import Answer, Instant
from pullbook.db.people import Shop, SignIn, Staff
from pullbook.deps import DatabaseDep, Now, ReadSession, SettingsDep, SignedIn, WriteSession, cookie_name
from pullbook.errors import FieldProblem, Invalid, NotFound
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.shop import colleagues, second_step, signing_in, slowing_down

router = LateRouter(prefix="/api/v1/account", tags=["account"])
Secret = Annotated[str, Field(min_length=1, max_length=256)]


class PasswordChange(BaseModel):
    """The present password, and the one to come."""

    model_config = ConfigDict(extra="forbid")
    present_password: Secret
    password: Secret


class Code(BaseModel):
    """What the telephone shows."""

    model_config = ConfigDict(extra="forbid")
    code: Annotated[str, Field(min_length=1, max_length=40)]


class PresentPassword(BaseModel):
    """The present password."""

    model_config = ConfigDict(extra="forbid")
    present_password: Secret


class AccountAnswer(Answer):
    """Who one is, and how one comes in."""

    id: str
    sign_in_name: str
    full_name: str
    role: str
    second_step: bool


class SecretAnswer(Answer):
    """For the telephone, told this once; it counts only when a code has confirmed it."""

    secret: str
    address: str


class SpareCodes(Answer):
    """Codes for the day the telephone is lost, told this once; each is good once."""

    spare_codes: list[str]


class SignInAnswer(Answer):
    """A session that is open. `this_one`: the one that asks."""

    id: str
    started_at: Instant
    ends_at: Instant
    this_one: bool


class SignInList(Answer):
    """One's open sessions, newest first."""

    items: list[SignInAnswer]
    next: str | None


@router.get("", summary="One's own account", response_model=AccountAnswer)
def get(person: SignedIn, session: ReadSession) -> Json:
    """Who one is, and whether a second step is on."""
    told = {name: getattr(person, name) for name in ("id", "sign_in_name", "full_name", "role")}
    return Json({**told, "second_step": second_step.is_on(session, person.id)})


@router.put("/password", summary="Change one's password", response_model=AccountAnswer)
def change_password(
    asked: PasswordChange, request: Request, person: SignedIn, database: DatabaseDep, settings: SettingsDep, now: Now
) -> Json:
    """Every other session ends. Tries are counted, as at the door."""
    _count_try(database, person.id, now)
    token = request.cookies.get(cookie_name(settings), "")
    with database.writing() as session:
        colleagues.change_own_password(session, now, person.id, asked.present_password, asked.password, token)
    with database.reading() as session:
        return get(person, session)


@router.post("/second-step", status_code=201, summary="Begin with a second step", response_model=SecretAnswer)
def begin(asked: PresentPassword, person: SignedIn, database: DatabaseDep, now: Now) -> Json:
    """Scan the address with a telephone, then confirm with a code. Nothing changes before that.

    With the password: whoever finds a session left open could lock its person out otherwise.
    """
    _count_try(database, person.id, now)
    with database.writing() as session:
        _refuse_other_password(session, person.id, asked.present_password)
        shop = session.execute(select(Shop.name)).scalar_one_or_none() or "Pullbook"
        secret, address = second_step.begin(session, person.id, shop)
    return Json({"secret": secret, "address": address}, 201, headers={"Cache-Control": "no-store"})


def _refuse_other_password(session: Session, staff_id: str, password: str) -> None:
    if not signing_in.password_fits(password, session.get_one(Staff, staff_id).password_hash):
        wrong = FieldProblem("present_password", "(not shown)", "the password you signed in with")
        raise Invalid("The present password is another.", wrong)


@router.put("/second-step", summary="Turn the second step on", response_model=SpareCodes)
def confirm(asked: Code, person: SignedIn, session: WriteSession, now: Now) -> Json:
    """From now on a code is wanted beside the password."""
    spare = second_step.confirm(session, now, person.id, "".join(asked.code.split()))
    return Json({"spare_codes": spare}, headers={"Cache-Control": "no-store"})


@router.post("/second-step/off", summary="Take the second step off", response_model=AccountAnswer)
def take_off(asked: PresentPassword, person: SignedIn, database: DatabaseDep, now: Now) -> Json:
    """With the password, since a session left open is not proof enough."""
    _count_try(database, person.id, now)
    with database.writing() as session:
        _refuse_other_password(session, person.id, asked.present_password)
        second_step.take_off(session, now, person.id, person.id)
    with database.reading() as session:
        return get(person, session)


@router.get("/sign-ins", summary="Where one is signed in", response_model=SignInList)
def sign_ins(request: Request, person: SignedIn, session: ReadSession, settings: SettingsDep, now: Now) -> Json:
    """Open sessions, newest first, in one list."""
    here = signing_in.hash_token(request.cookies.get(cookie_name(settings), ""))
    rows = session.execute(
        select(SignIn.id, SignIn.started_at, SignIn.ends_at, (SignIn.token_hash == here).label("this_one"))
        .where(SignIn.staff_id == person.id, SignIn.ended_at.is_(None), SignIn.ends_at > now)
        .order_by(SignIn.id.desc())
    )
    return Json({"items": [{**row._mapping, "this_one": bool(row.this_one)} for row in rows], "next": None})


@router.delete("/sign-ins/{sign_in_id}", status_code=204, summary="End one of one's sessions")
def end(
    sign_in_id: Annotated[str, Path(description="The session's id.")], person: SignedIn, session: WriteSession, now: Now
) -> None:
    """On whatever machine it was left open."""
    row = session.get(SignIn, sign_in_id, with_for_update=True)
    if row is None or row.staff_id != person.id:
        raise NotFound(f"There is no session {sign_in_id} of yours.")
    row.ended_at = row.ended_at or now


def _count_try(database: DatabaseDep, staff_id: str, now: datetime) -> None:
    bucket = slowing_down.bucket_name("own-password", staff_id)
    with database.writing() as counting:  # a transaction of its own: the try counts whatever comes of it
        slowing_down.take_try(counting, bucket, slowing_down.BY_NAME_THERE, now)
