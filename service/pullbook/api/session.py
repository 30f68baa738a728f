"""Signing in and out: /api/v1/session."""

from datetime import datetime

from fastapi import APIRouter, Request, Response
from pydantic import BaseModel, ConfigDict, Field

from pullbook.db.connect import Database
from pullbook.deps import DatabaseDep, Now, SettingsDep, SignedIn, WriteSession, cookie_name
from pullbook.settings import Settings
from pullbook.shop import signing_in, slowing_down

router = APIRouter(prefix="/api/v1/session", tags=["session"])


class Credentials(BaseModel):
    """What a person signs in with."""

    model_config = ConfigDict(extra="forbid")
    sign_in_name: str = Field(min_length=1, max_length=120)
    password: str = Field(min_length=1, max_length=256)


class PersonAnswer(BaseModel):
    """Who somebody is."""

    id: str
    sign_in_name: str
    full_name: str
    role: str


def told(person: signing_in.Person) -> PersonAnswer:
    """A person as the API tells of them."""
    return PersonAnswer(id=person.id, sign_in_name=person.sign_in_name, full_name=person.full_name, role=person.role)


@router.post("")
def sign_in(
    body: Credentials, request: Request, response: Response, database: DatabaseDep, settings: SettingsDep, now: Now
) -> PersonAnswer:
    """Sign in: the cookie of a new session comes with the answer. 401 alike for a wrong name and a wrong password."""
    _take_tries(database, request, body.sign_in_name, now)
    with database.reading() as reading:
        person = signing_in.find_by_password(reading, body.sign_in_name, body.password)
    with database.writing() as writing:
        old = request.cookies.get(cookie_name(settings))
        if old:
            signing_in.end_session(writing, old, now)
        token = signing_in.open_session(writing, person, now)
        bucket = slowing_down.bucket_name("name", signing_in.tidy_name(body.sign_in_name))
        slowing_down.forgive(writing, bucket, slowing_down.BY_NAME, now)
    give_cookie(response, settings, token)
    return told(person)


@router.get("")
def who_is_signed_in(person: SignedIn) -> PersonAnswer:
    """Whose session this is."""
    return told(person)


@router.delete("", status_code=204)
def sign_out(
    request: Request, response: Response, person: SignedIn, session: WriteSession, settings: SettingsDep, now: Now
) -> None:
    """End the session here and now; the cookie is worth nothing afterwards."""
    name = cookie_name(settings)
    signing_in.end_session(session, request.cookies.get(name, ""), now)
    response.delete_cookie(
        name, path=settings.public_path or "/", secure=settings.is_https, httponly=True, samesite="lax"
    )


def give_cookie(response: Response, settings: Settings, token: str) -> None:
    """Set the session's cookie on an answer: out of reach of scripts, and never sent from other sites' forms."""
    response.set_cookie(
        cookie_name(settings),
        token,
        max_age=int(signing_in.SESSION_LASTS.total_seconds()),
        path=settings.public_path or "/",
        secure=settings.is_https,
        httponly=True,
        samesite="lax",
    )


def _take_tries(database: Database, request: Request, sign_in_name: str, now: datetime) -> None:
    """Count the try in a transaction of its own, so that it is counted whatever comes of it."""
    address = request.client.host if request.client else "unknown"
    by_name = slowing_down.bucket_name("name", signing_in.tidy_name(sign_in_name))
    with database.writing() as session:
        slowing_down.take_try(session, slowing_down.bucket_name("address", address), slowing_down.BY_ADDRESS, now)
        slowing_down.take_try(session, by_name, slowing_down.BY_NAME, now)
