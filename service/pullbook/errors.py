"""What the shop refuses, in plain Python: no web, no database. `error_answers` alone knows HTTP numbers."""

from pullbook.late_methods import dataclass


@dataclass
class FieldProblem:
    """One thing wrong with one thing given: which field, what came, what would do."""

    field: str
    value: object
    would_do: str


class ShopError(Exception):
    """Anything the shop refuses. `problems` names the fields, where fields are to blame."""

    def __init__(self, message: str, *problems: FieldProblem) -> None:
        super().__init__(message)
        self.message = message
        self.problems = problems
        self.more: dict[str, object] = {}  # further members of the answer


class NotFound(ShopError):
    """There is no such record, or this person may not know of it."""


class Gone(ShopError):
    """It was here and is no longer shown: an expired or revoked link."""


class NotSignedIn(ShopError):
    """Nobody is signed in, or the session has ended."""


class NotAllowed(ShopError):
    """Signed in, but this role may not do that."""


class Invalid(ShopError):
    """Well formed, but not what would do."""


class Clash(ShopError):
    """It would break a rule with what is already there (taken, or changed meanwhile)."""


class Stale(Clash):
    """Two people changed the same record: the answer carries what is on record and what was given."""

    def __init__(self, on_record: dict[str, object], given: dict[str, object]) -> None:
        problem = FieldProblem("version", given.get("version"), f"{on_record.get('version')} is the version on record")
        super().__init__("somebody changed this meanwhile; load it again and look at both", problem)
        self.more = {"on_record": on_record, "given": given}


class TooLarge(ShopError):
    """More bytes than are taken."""


class WrongKind(ShopError):
    """A file of a kind that is not read here: an archive, a picture, a program."""


class TooMany(ShopError):
    """Too many tries in a short time; `retry_after_s` says when to come back."""

    def __init__(self, message: str, retry_after_s: int) -> None:
        super().__init__(message)
        self.retry_after_s = retry_after_s


class NotReady(ShopError):
    """The service cannot do it just now: disk full, database locked. Nothing was kept; try again."""
