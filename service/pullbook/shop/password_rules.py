"""What a password must be: long enough, not a common one, not the person's own name. No rules of composition."""

from functools import cache
from importlib.resources import files

from pullbook.errors import FieldProblem, Invalid

SHORTEST = 8
LONGEST = 256


@cache
def common_passwords() -> frozenset[str]:
    """The passwords that are tried first anywhere, in lower case."""
    lines = files("pullbook.shop").joinpath("common_passwords.txt").read_text("utf-8").splitlines()
    return frozenset(line for line in lines if not line.startswith("# "))


def check_password(password: str, sign_in_name: str) -> None:
    """Raise Invalid, saying why, unless the password will do."""
    plain = password.casefold()
    if len(password) < SHORTEST:
        _refuse(f"at least {SHORTEST} characters would do; a short sentence is best")
    if len(password) > LONGEST:
        _refuse(f"at most {LONGEST} characters would do")
    if plain in common_passwords():
        _refuse("this one is among the first that anybody would try; a short sentence of your own would do")
    if sign_in_name and sign_in_name.casefold() in plain:
        _refuse("one without your sign-in name in it would do")


def _refuse(would_do: str) -> None:
    raise Invalid(f"this password will not do: {would_do}", FieldProblem("password", "(not shown)", would_do))
