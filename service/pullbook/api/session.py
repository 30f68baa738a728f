"""Signing in and out: /api/v1/session."""

from fastapi import Request, Response
from pydantic import BaseModel, ConfigDict, Field

from pullbook.deps import DatabaseDep, Now, SettingsDep, SignedIn, WriteSession, cookie_name
from pullbook.errors import FieldProblem, NotSignedIn
from pullbook.late_routes import LateRouter
from pullbook.settings import Settings
from pullbook.shop import second_step, signing_in, slowing_down

router = LateRouter(prefix="/api/v1/session", tags=["session"])
CODE_WANTED = FieldProblem("code", "(not shown)", "the six digits that the telephone shows, or a spare code")


class Credentials(BaseModel):
    """What a person signs in with."""

    model_config = ConfigDict(extra="forbid")
    sign_in_name: str = Field(min_length=1, max_length=120)
    password: str = Field(min_length=1, max_length=256)
    code: str = Field("", max_length=40, description="The second step's, where the person has one.")


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
    tries = _tries(request, body.sign_in_name)
    with database.writing() as counting:  # a transaction of its own: the try counts whatever comes of it
        for bucket, pace in tries.items():
            slowing_down.take_try(counting, bucket, pace, now)
    with database.reading() as reading:
        person = signing_in.find_by_password(reading, body.sign_in_name, body.password)
    with database.writing() as writing:
        if not second_step.passes(writing, now, person.id, body.code):
            raise NotSignedIn("this person has a second step; the code is missing or does not fit now", CODE_WANTED)
        signing_in.end_session(writing, request.cookies.get(cookie_name(settings), ""), now)
        token = signing_in.open_session(writing, person, now, settings.session_hours)
        slowing_down.forgive(writing, [name for name in tries if name.startswith("name")], now)
    give_cookie(response, settings, token)
    return told(person)


@router.get("")
async def who_is_signed_in(person: SignedIn) -> PersonAnswer:
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
        max_age=settings.session_hours * 3600,
        path=settings.public_path or "/",
        secure=settings.is_https,
        httponly=True,
        samesite="lax",
    )


def _tries(request: Request, sign_in_name: str) -> dict[str, slowing_down.Pace]:
    """What a try counts against: the address, the name from there, and the name from anywhere."""
    address = request.client.host if request.client else "unknown"
    name = signing_in.tidy_name(sign_in_name)
    return {
        slowing_down.bucket_name("address", address): slowing_down.BY_ADDRESS,
        slowing_down.bucket_name("name-there", f"{name} {address}"): slowing_down.BY_NAME_THERE,
        slowing_down.bucket_name("name", name): slowing_down.BY_NAME,
    }
