"""A second step at the door: codes that change every half minute (RFC 6238 over RFC 4226), and spare ones for bad days.

The secret must be kept as it is, since codes are worked out from it: whoever steals the database still lacks the
passwords. Each code is taken once; the one before and the one after count too, for a telephone's clock.
"""

import base64
import hashlib
import hmac
import secrets
from datetime import datetime
from urllib.parse import quote

from sqlalchemy import delete, select, update
from sqlalchemy.orm import Session

from pullbook.db.people import SpareCode, Staff
from pullbook.errors import Clash, FieldProblem, Invalid, NotFound
from pullbook.shop import auditing

STEP_S = 30
DIGITS = 6
SPARE_CODES = 8
SECRET_BYTES = 20


def code_at(secret: str, step: int, digits: int = DIGITS) -> str:
    """The code of one half minute. `secret` is base32, as telephones take it."""
    mac = hmac.digest(base64.b32decode(secret), step.to_bytes(8, "big"), "sha1")
    at = mac[-1] & 15
    number = int.from_bytes(mac[at : at + 4], "big") & 0x7FFFFFFF
    return str(number % 10**digits).zfill(digits)


def begin(session: Session, staff_id: str, issuer: str) -> tuple[str, str]:
    """A fresh secret that counts once a code has shown that the telephone has it. Gives it, and as an otpauth address.

    Clash where the second step is on already: it is taken off first, with the password.
    """
    row = _row(session, staff_id)
    if row.code_since is not None:
        raise Clash("The second step is on already; take it off first.", FieldProblem("second_step", "on", "off"))
    row.code_secret = base64.b32encode(secrets.token_bytes(SECRET_BYTES)).decode()
    row.code_last_step = None
    label = quote(f"{issuer}:{row.sign_in_name}")
    address = f"otpauth://totp/{label}?secret={row.code_secret}&issuer={quote(issuer)}&digits={DIGITS}&period={STEP_S}"
    return row.code_secret, address


def confirm(session: Session, now: datetime, staff_id: str, code: str) -> list[str]:
    """Turn it on; gives spare codes, which are told once. Invalid for a code that does not fit."""
    row = _row(session, staff_id)
    if row.code_secret is None or row.code_since is not None:
        raise Clash("There is nothing to confirm; begin again.", FieldProblem("code", "(not shown)", "begin first"))
    if not _takes(row, now, code):
        raise _wrong()
    row.code_since = now
    row.version += 1
    session.execute(delete(SpareCode).where(SpareCode.staff_id == staff_id))
    spare = [secrets.token_hex(5) for _ in range(SPARE_CODES)]
    session.add_all(SpareCode(staff_id=staff_id, code_hash=_hashed(one), made_at=now) for one in spare)
    auditing.note(session, now, staff_id, "turn on the second step", "staff", staff_id)
    return spare


def take_off(session: Session, now: datetime, by: str | None, staff_id: str) -> None:
    """Turn it off again; who may do that is the caller's to know."""
    row = _row(session, staff_id)
    if row.code_since is not None:
        row.version += 1
        auditing.note(session, now, by, "take off the second step", "staff", staff_id)
    row.code_secret = row.code_since = row.code_last_step = None
    session.execute(delete(SpareCode).where(SpareCode.staff_id == staff_id))


def passes(session: Session, now: datetime, staff_id: str, code: str) -> bool:
    """Whether a code opens the door now; it is used up by that. True for whoever has no second step."""
    row = _row(session, staff_id)
    if row.code_since is None:
        return True
    tidy = "".join(code.split()).lower()
    return _takes(row, now, tidy) or _spare(session, now, staff_id, tidy)


def is_on(session: Session, staff_id: str) -> bool:
    """Whether somebody has a second step."""
    return session.execute(select(Staff.code_since).where(Staff.id == staff_id)).scalar_one_or_none() is not None


def _takes(row: Staff, now: datetime, code: str) -> bool:
    here = int(now.timestamp()) // STEP_S
    for step in (here - 1, here, here + 1):
        fresh = row.code_last_step is None or step > row.code_last_step
        if fresh and row.code_secret and hmac.compare_digest(code_at(row.code_secret, step).encode(), code.encode()):
            row.code_last_step = step
            return True
    return False


def _spare(session: Session, now: datetime, staff_id: str, code: str) -> bool:
    used = session.execute(
        update(SpareCode)
        .where(SpareCode.staff_id == staff_id, SpareCode.code_hash == _hashed(code), SpareCode.used_at.is_(None))
        .values(used_at=now)
        .returning(SpareCode.id)
    ).first()
    if used is not None:
        auditing.note(session, now, staff_id, "use a spare code", "staff", staff_id)
    return used is not None


def _hashed(code: str) -> str:
    return hashlib.sha256(code.encode()).hexdigest()


def _row(session: Session, staff_id: str) -> Staff:
    row = session.get(Staff, staff_id, with_for_update=True)
    if row is None:
        raise NotFound(f"There is no member of staff {staff_id}.")
    return row


def _wrong() -> Invalid:
    return Invalid(
        "That code does not fit now.", FieldProblem("code", "(not shown)", "the six digits that the telephone shows")
    )
