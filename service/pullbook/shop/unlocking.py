"""Unlocking: the PIN that a results link may want, and the cookie that remembers for a while that it was given."""

import hmac
import re
from datetime import datetime, timedelta
from itertools import pairwise

from pullbook.errors import FieldProblem, Invalid
from pullbook.shop.keying import LinkKey
from pullbook.shop.signing_in import hash_password, password_fits
from pullbook.shop.slowing_down import Pace

UNLOCKED_FOR = timedelta(hours=2)
SHORTEST, LONGEST = 6, 64
WOULD_DO = "six digits or more, or a word of six letters or more, that nobody would try first"
# Eight tries and then one in ten minutes: a link's ninety days allow some 13 000 of a million codes
WRONG_FOR_LINK = Pace(burst=8, seconds_each=600.0)
WRONG_ANYWHERE = Pace(burst=200, seconds_each=2.0)
_TRIED_FIRST = ("password", "passwort", "secret", "qwerty", "qwertz", "letmein", "welcome")


def tidy_pin(typed: str) -> str:
    """Telephones add spaces and capitals; neither counts."""
    return re.sub(r"\s+", "", typed).casefold()


def pin_hash_of(typed: str) -> str:
    """What is kept of a PIN. Invalid for one that would be tried first."""
    pin = tidy_pin(typed)
    steps = {ord(after) - ord(before) for before, after in pairwise(pin)}
    too_plain = len(set(pin)) < 3 or (len(steps) == 1 and abs(next(iter(steps))) <= 1) or pin in _TRIED_FIRST
    if not SHORTEST <= len(pin) <= LONGEST or too_plain:
        raise Invalid("That PIN is too short, too long or too easily guessed.", FieldProblem("pin", "", WOULD_DO))
    return hash_password(pin)


def pin_fits(typed: str, pin_hash: str) -> bool:
    """Whether this is the PIN behind the hash; takes as long as a password does."""
    return len(typed) <= 4 * LONGEST and password_fits(tidy_pin(typed), pin_hash)


def unlocked_value(key: LinkKey, link_id: str, pin_hash: str, now: datetime) -> str:
    """What the cookie holds: until when, and a seal over that, the link and its PIN. Another PIN ends it at once."""
    until = str(int((now + UNLOCKED_FOR).timestamp()))
    return f"{until}.{key.seal('unlocked', f'{link_id} {pin_hash} {until}')}"


def is_unlocked(key: LinkKey, link_id: str, pin_hash: str, value: str, now: datetime) -> bool:
    """Whether a cookie's value is one that was given out for this link and its PIN, and has not ended."""
    until, _, seal = value.partition(".")
    if not re.fullmatch(r"[0-9]{1,12}", until) or int(until) <= now.timestamp():
        return False
    return hmac.compare_digest(seal.encode(), key.seal("unlocked", f"{link_id} {pin_hash} {until}").encode())
