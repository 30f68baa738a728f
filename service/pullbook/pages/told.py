"""What a template is given: frozen records whose every field says in a line what it holds."""

import dataclasses
from collections.abc import Callable
from dataclasses import field
from typing import Any, ClassVar

from pullbook.late_methods import dataclass
from pullbook.shown_units import ShownUnits


def told(help_text: str, default: Any = dataclasses.MISSING) -> Any:
    """A field of a page's record with its line of help."""
    return field(default=default, metadata={"help": help_text})


class Shown:
    """A page's record: `template` is the file that draws it, relative to web/templates."""

    template: ClassVar[str]


@dataclass(frozen=True)
class Frame:
    """What stands around every page: `frame` in the templates."""

    root: str = told("The path under which the service is reached; empty at the root of its host.")
    asset_of: Callable[[str], str] = told("Gives the lasting address of a file of web/static.")
    here: str = told("Which index tab is open: the last part of its path, today, new, or empty.")
    shop_name: str = told("The shop's name; empty before it is set up.")
    public_origin: str = told("The scheme and host that people use, for the few addresses that must be whole.")
    time_zone: str = told("The shop's time zone, by its name in the tz database.")
    units: ShownUnits = told("The units the shop shows power, torque and pressure in.")
    person_name: str = told("Who is signed in; empty when nobody is.")
    role: str = told("Their role: read_only, front_desk, tuner, owner; empty when nobody is signed in.")
    logo: str = told("The address of the shop's picture, from the root on; empty where it has none.", "")
    language: str = told("The language of a customer's page, by its code; the book itself speaks English.", "en")

    @property
    def may_write(self) -> bool:
        """Whether this person does more than read."""
        return self.role != "read_only"

    @property
    def may_tune(self) -> bool:
        """Whether this person does cell work."""
        return self.role in ("tuner", "owner")

    @property
    def may_own(self) -> bool:
        """Whether this person is an owner."""
        return self.role == "owner"
