"""One's own account: the password, the second step, and where one is signed in."""

from datetime import datetime
from typing import ClassVar

from fastapi import Request
from sqlalchemy import select
from starlette.responses import Response

from pullbook.db.people import SignIn
from pullbook.deps import Now, PagePerson, ReadSession, SettingsDep, cookie_name
from pullbook.late_methods import dataclass
from pullbook.late_routes import LateRouter
from pullbook.pages.render import around_person, draw
from pullbook.pages.told import Shown, told
from pullbook.shop import second_step
from pullbook.shop.signing_in import hash_token

router = LateRouter(include_in_schema=False)


@dataclass(frozen=True)
class SignInLine:
    """A session that is open."""

    id: str
    started_at: datetime
    ends_at: datetime
    this_one: bool


@dataclass(frozen=True)
class AccountPage(Shown):
    """How one comes in."""

    template: ClassVar[str] = "desk/account.html"
    sign_in_name: str = told("What one signs in with.")
    second_step: bool = told("Whether a code is wanted beside the password.")
    sign_ins: tuple[SignInLine, ...] = told("Open sessions, newest first.")


@router.get("/account")
def account(request: Request, session: ReadSession, person: PagePerson, settings: SettingsDep, now: Now) -> Response:
    """Password, second step, and where one is signed in."""
    here = hash_token(request.cookies.get(cookie_name(settings), ""))
    rows = session.scalars(
        select(SignIn)
        .where(SignIn.staff_id == person.id, SignIn.ended_at.is_(None), SignIn.ends_at > now)
        .order_by(SignIn.id.desc())
    )
    lines = tuple(SignInLine(row.id, row.started_at, row.ends_at, row.token_hash == here) for row in rows)
    page = AccountPage(person.sign_in_name, second_step.is_on(session, person.id), lines)
    return draw(around_person(request, session, person, "account"), page)
