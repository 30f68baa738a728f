"""Staff sign-in: who works here, with which password, and the sessions they have open."""

import hashlib
import secrets
import threading
from datetime import datetime, timedelta
from functools import cache

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from sqlalchemy import bindparam, delete, func, select, update
from sqlalchemy.orm import Session

from pullbook.db.tables import Invitation, Shop, SignIn, Staff
from pullbook.errors import Clash, FieldProblem, Gone, Invalid, NotFound, NotSignedIn
from pullbook.late_methods import dataclass
from pullbook.shop import auditing
from pullbook.shop.password_rules import check_password

HASHER = PasswordHasher(time_cost=2, memory_cost=19456, parallelism=1)  # OWASP's small setting: 20 to 80 ms here
_AT_ONCE = threading.BoundedSemaphore(4)  # a crowd at the door must not take the machine's memory
FORGOTTEN_AFTER = timedelta(days=30)
INVITATION_LASTS = timedelta(minutes=30)
WRONG = "that name and password do not go together"


@dataclass(frozen=True)
class Person:
    """Who is at it: a member of staff with an open session."""

    id: str
    full_name: str
    role: str
    sign_in_name: str = ""


def fresh_token() -> str:
    """256 random bits as text that fits a cookie and an address."""
    return secrets.token_urlsafe(32)


def hash_token(token: str) -> str:
    """What is kept of a token: a stolen database opens no session."""
    return hashlib.sha256(token.encode()).hexdigest()


@cache
def nobodys_hash() -> str:
    """A hash to check against when there is no such name, so that both answers take the same time."""
    return hash_password(secrets.token_urlsafe(16))


def tidy_name(sign_in_name: str) -> str:
    """Sign-in names do not tell upper from lower case, nor spaces around them."""
    return sign_in_name.strip().casefold()


def password_fits(password: str, password_hash: str) -> bool:
    """Whether the password is the one behind the hash."""
    with _AT_ONCE:
        try:
            return HASHER.verify(password_hash, password)
        except (VerificationError, InvalidHashError):
            return False


def hash_password(password: str) -> str:
    """What is kept of a password: slow to try, and 19 MB each time."""
    with _AT_ONCE:
        return HASHER.hash(password)


def find_by_password(session: Session, sign_in_name: str, password: str) -> Person:
    """Who signs in. The same answer, in the same time, for an unknown name and a wrong password."""
    row = session.execute(select(Staff).where(Staff.sign_in_name == tidy_name(sign_in_name))).scalar_one_or_none()
    fits = password_fits(password, row.password_hash if row else nobodys_hash())
    if row is None or not fits or row.disabled_at is not None:
        raise NotSignedIn(WRONG)
    return Person(row.id, row.full_name, row.role, row.sign_in_name)


def open_session(session: Session, person: Person, now: datetime, hours: int) -> str:
    """A new session, always under a new token. Returns what goes into the cookie; only its hash is kept."""
    session.execute(delete(SignIn).where(SignIn.ends_at < now - FORGOTTEN_AFTER))
    token = fresh_token()
    ends_at = now + timedelta(hours=hours)
    session.add(SignIn(token_hash=hash_token(token), staff_id=person.id, started_at=now, ends_at=ends_at))
    auditing.note(session, now, person.id, "signed in", "staff", person.id)
    return token


# built once: every request asks this
_PERSON_OF = (
    select(Staff.id, Staff.full_name, Staff.role, Staff.sign_in_name)
    .join(SignIn, SignIn.staff_id == Staff.id)
    .where(
        SignIn.token_hash == bindparam("token_hash"),
        SignIn.ended_at.is_(None),
        SignIn.ends_at > bindparam("now"),
        Staff.disabled_at.is_(None),
    )
)


def person_of(session: Session, token: str, now: datetime) -> Person | None:
    """Who holds this session token now; None when it has ended, or the person no longer works here."""
    row = session.execute(_PERSON_OF, {"token_hash": hash_token(token), "now": now}).one_or_none()
    return None if row is None else Person(*row)


def end_session(session: Session, token: str, now: datetime) -> None:
    """Sign out: the token is worth nothing from now on, on every machine."""
    session.execute(
        update(SignIn).where(SignIn.token_hash == hash_token(token), SignIn.ended_at.is_(None)).values(ended_at=now)
    )


def end_sessions_of(session: Session, staff_id: str, now: datetime) -> None:
    """End every session of a person: after a new password, or when they leave."""
    session.execute(update(SignIn).where(SignIn.staff_id == staff_id, SignIn.ended_at.is_(None)).values(ended_at=now))


def anybody_works_here(session: Session) -> bool:
    """Whether there is any member of staff yet."""
    return session.execute(select(func.count()).select_from(Staff)).scalar_one() > 0


def add_staff(
    session: Session,
    now: datetime,
    by: str | None,
    *,
    sign_in_name: str,
    full_name: str,
    role: str,
    password: str,
) -> Person:
    """A new member of staff. Clash when the name is taken, Invalid when the password will not do."""
    name = tidy_name(sign_in_name)
    check_password(password, name)
    if not name:
        raise Invalid(
            "a sign-in name is needed", FieldProblem("sign_in_name", sign_in_name, "letters and digits would do")
        )
    if session.execute(select(Staff.id).where(Staff.sign_in_name == name)).first():
        raise Clash(f"{name} is taken", FieldProblem("sign_in_name", sign_in_name, "a name nobody here has would do"))
    row = Staff(
        sign_in_name=name,
        full_name=full_name.strip(),
        role=role,
        password_hash=hash_password(password),
        created_at=now,
    )
    session.add(row)
    session.flush()
    auditing.note(session, now, by, "added", "staff", row.id, after={"role": role, "sign_in_name": name})
    return Person(row.id, row.full_name, row.role, row.sign_in_name)


def invite_first_owner(session: Session, now: datetime) -> str:
    """A one-time token by which the first owner sets up the shop. Clash once anybody works here."""
    if anybody_works_here(session):
        raise Clash("somebody works here already; an owner adds others under Staff, or `pullbook staff add` does")
    token = fresh_token()
    session.add(Invitation(token_hash=hash_token(token), role="owner", made_at=now, ends_at=now + INVITATION_LASTS))
    return token


def check_invitation(session: Session, token: str, now: datetime) -> Invitation:
    """The open invitation behind a token. NotFound for an unknown one; Gone once used, ended, or staff exist."""
    statement = select(Invitation).where(Invitation.token_hash == hash_token(token)).with_for_update()
    row = session.execute(statement).scalar_one_or_none()
    if row is None:
        raise NotFound("this set-up link is not known; `pullbook staff first-link` prints a new one")
    if row.used_at is not None or row.ends_at <= now or anybody_works_here(session):
        raise Gone("this set-up link has been used or has ended; `pullbook staff first-link` prints a new one")
    return row


def set_up_shop(
    session: Session,
    now: datetime,
    token: str,
    *,
    sign_in_name: str,
    full_name: str,
    password: str,
    shop_name: str,
    time_zone: str,
) -> Person:
    """The first owner comes in by the one-time link, and the shop gets its name."""
    invitation = check_invitation(session, token, now)
    invitation.used_at = now
    person = add_staff(
        session, now, None, sign_in_name=sign_in_name, full_name=full_name, role=invitation.role, password=password
    )
    session.merge(Shop(id=1, name=shop_name.strip(), time_zone=time_zone))
    auditing.note(session, now, person.id, "set up", "shop", "1", after={"name": shop_name, "time_zone": time_zone})
    return person
