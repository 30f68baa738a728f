"""What a route may ask for, as named types: settings, the time, a session on the records, the person signed in."""

from collections.abc import AsyncIterator, Iterator
from contextlib import suppress
from datetime import datetime
from typing import Annotated

from fastapi import Depends, Request
from fastapi.concurrency import run_in_threadpool
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.orm import Session

from pullbook.db.connect import Database
from pullbook.errors import NotAllowed, NotSignedIn
from pullbook.settings import Settings
from pullbook.shop.attesting import attest
from pullbook.shop.chaining import was_entered
from pullbook.shop.keying import LinkKey
from pullbook.shop.sending_in import Sender, sender_of
from pullbook.shop.signing_in import Person, person_of

# who may do whose work: the owner everybody's, the tuner the desk's too
MAY_ACT_AS = {
    "read_only": frozenset[str](),
    "front_desk": frozenset({"front_desk"}),
    "tuner": frozenset({"front_desk", "tuner"}),
    "owner": frozenset({"front_desk", "tuner", "owner"}),
}
ROLE_WORDS = {
    "read_only": "somebody who may only read",
    "front_desk": "the front desk",
    "tuner": "a tuner",
    "owner": "the owner",
}


def _records(request: Request) -> Database:
    database: Database = request.app.state.database
    return database


async def settings_of(request: Request) -> Settings:
    """The settings the service was started with."""
    settings: Settings = request.app.state.settings
    return settings


async def database_of(request: Request) -> Database:
    """The engines, for the rare route that needs transactions of its own."""
    return _records(request)


async def time_now(request: Request) -> datetime:
    """The time of the request, with its zone; tests set `app.state.clock`."""
    now: datetime = request.app.state.clock()
    return now


async def link_key_of(request: Request) -> LinkKey:
    """The secret that results links are made from."""
    key: LinkKey = request.app.state.link_key
    return key


LinkKeyDep = Annotated[LinkKey, Depends(link_key_of)]
SettingsDep = Annotated[Settings, Depends(settings_of)]
DatabaseDep = Annotated[Database, Depends(database_of)]
Now = Annotated[datetime, Depends(time_now)]


def write_session(request: Request) -> Iterator[Session]:
    """One request, one transaction: kept when the route ends well, undone when it raises."""
    with _records(request).writing() as session:
        yield session
    if was_entered(session):
        # it is kept by now: a head that cannot be signed just then is signed with whatever is entered next
        with suppress(SQLAlchemyError):
            attest(_records(request), request.app.state.settings.signing_key, request.app.state.clock())


async def read_session(request: Request) -> AsyncIterator[Session]:
    """A session that never commits. Opening and closing it does not wait, so it needs no thread of its own."""
    with _records(request).reading() as session:
        yield session


# scope="function": the commit comes before the answer leaves. By default it would come after it, and a commit that
# failed would have been answered with 201.
WriteSession = Annotated[Session, Depends(write_session, scope="function")]
ReadSession = Annotated[Session, Depends(read_session, scope="function")]


def cookie_name(settings: Settings) -> str:
    """`__Host-` binds the cookie to this host, but only at the root; under a path `__Secure-` is the best there is."""
    if not settings.is_https:
        return "pullbook"
    return "__Secure-pullbook" if settings.public_path else "__Host-pullbook"


def link_cookie_name(settings: Settings) -> str:
    """Of the cookie that remembers a results link's PIN; its path is that one link's address."""
    return "__Secure-results" if settings.is_https else "results"


def client_address(request: Request) -> str:
    """Where a request comes from, as the server or a trusted proxy says."""
    return request.client.host if request.client else "unknown"


# what follows takes the request itself and asks it for settings, records and time: every dependency of a dependency is
# walked again for each route at start and in each request


async def person_or_none(request: Request, session: ReadSession) -> Person | None:
    """Who is signed in, if anybody is.

    On SQLite looked up where the request stands: readers of a write-ahead log wait for nobody, and a thread would cost
    more than the look-up. On PostgreSQL in a thread, since a network lies between.
    """
    token = request.cookies.get(cookie_name(request.app.state.settings))
    person, now = None, request.app.state.clock()
    if token and _records(request).is_sqlite:
        person = person_of(session, token, now)
    elif token:
        person = await run_in_threadpool(person_of, session, token, now)
    request.scope["noted"]["staff_id"] = person.id if person else None  # for the log
    return person


async def signed_in(request: Request, session: ReadSession) -> Person:
    """Whoever is signed in. NotSignedIn when nobody is; on a page that leads to the sign-in page and back."""
    person = await person_or_none(request, session)
    if person is None:
        raise NotSignedIn("nobody is signed in, or the session has ended; sign in first")
    return person


async def _desk(request: Request, session: ReadSession) -> Person:
    return _acting_as(await signed_in(request, session), "front_desk")


async def _tuner(request: Request, session: ReadSession) -> Person:
    return _acting_as(await signed_in(request, session), "tuner")


async def _owner(request: Request, session: ReadSession) -> Person:
    return _acting_as(await signed_in(request, session), "owner")


def _acting_as(person: Person, role: str) -> Person:
    if role not in MAY_ACT_AS[person.role]:
        raise NotAllowed(f"this is for {ROLE_WORDS[role]}; you are signed in as {ROLE_WORDS[person.role]}")
    return person


def device_sender(request: Request, session: ReadSession) -> Sender:
    """The device whose token comes as `Authorization: Bearer`. NotSignedIn for a token that nobody holds."""
    scheme, _, token = request.headers.get("authorization", "").partition(" ")
    sender = sender_of(session, token.strip()) if scheme.lower() == "bearer" and token.strip() else None
    session.rollback()  # a slow upload must not hold a connection and its view of the records
    if sender is None:
        raise NotSignedIn("this is for a device with a token that holds; add one on the Devices page")
    return sender


DeviceSender = Annotated[Sender, Depends(device_sender)]
MaybePerson = Annotated[Person | None, Depends(person_or_none)]
SignedIn = Annotated[Person, Depends(signed_in)]
PagePerson = SignedIn  # on a page, error_answers turns "not signed in" into the way to /sign-in
Desk = Annotated[Person, Depends(_desk)]
Tuner = Annotated[Person, Depends(_tuner)]
Owner = Annotated[Person, Depends(_owner)]
