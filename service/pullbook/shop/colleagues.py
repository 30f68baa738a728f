"""Colleagues: passwords renewed, roles changed, leaving and coming back; the last owner stays."""

from datetime import datetime

from sqlalchemy import func, select, update
from sqlalchemy.orm import Session

from pullbook.db.people import SignIn, Staff
from pullbook.errors import Clash, FieldProblem, Invalid, NotFound
from pullbook.shop import auditing
from pullbook.shop.password_rules import check_password
from pullbook.shop.signing_in import end_sessions_of, hash_password, hash_token, password_fits


def renew_password(session: Session, now: datetime, by: str | None, staff_id: str, password: str) -> None:
    """Set a new password; every session of that person ends. Invalid for one that will not do."""
    row = colleague(session, staff_id)
    check_password(password, row.sign_in_name)
    row.password_hash = hash_password(password)
    row.version += 1
    end_sessions_of(session, staff_id, now)
    auditing.note(session, now, by, "renew the password", "staff", staff_id)


def change_own_password(
    session: Session, now: datetime, staff_id: str, present: str, password: str, kept_token: str
) -> None:
    """One's own, with the present one; every other session ends, the one at hand goes on."""
    row = colleague(session, staff_id)
    if not password_fits(present, row.password_hash):
        raise Invalid(
            "The present password is another.",
            FieldProblem("present_password", "(not shown)", "the password you signed in with"),
        )
    check_password(password, row.sign_in_name)
    row.password_hash = hash_password(password)
    row.version += 1
    others = (SignIn.staff_id == staff_id, SignIn.ended_at.is_(None), SignIn.token_hash != hash_token(kept_token))
    session.execute(update(SignIn).where(*others).values(ended_at=now))
    auditing.note(session, now, staff_id, "change the password", "staff", staff_id)


def refuse_without_owner(session: Session, row: Staff, *, role: str, disabled: bool) -> None:
    """Clash when a change would leave the shop without an owner."""
    if row.role != "owner" or row.disabled_at is not None or (role == "owner" and not disabled):
        return
    others = session.execute(
        select(func.count()).where(Staff.role == "owner", Staff.disabled_at.is_(None), Staff.id != row.id)
    ).scalar_one()
    if not others:
        raise Clash(
            f"{row.full_name} is the only owner.", FieldProblem("role", role, "make somebody else an owner first")
        )


def colleague(session: Session, staff_id: str) -> Staff:
    """The row, held until the transaction ends; NotFound when there is none."""
    row = session.get(Staff, staff_id, with_for_update=True)
    if row is None:
        raise NotFound(f"There is no member of staff {staff_id}.")
    return row
