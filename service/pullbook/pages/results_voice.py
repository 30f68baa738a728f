"""The customer's language: every string of its pages from one catalogue, numbers and dates as people write them.

`web/strings/results.XX.json` holds one language, whole sentences with named places. English came first; another one
is a file with the same keys and the same places, which a test sees to.
"""

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from functools import cache
from zoneinfo import ZoneInfo

from pullbook.late_methods import dataclass
from pullbook.measure.correction import Standard
from pullbook.settings import HOUSE
from pullbook.shown_units import ShownUnits, plain_number

STRINGS = HOUSE / "web" / "strings"
LANGUAGES = {"en": "English", "de": "Deutsch"}  # by their codes in BCP 47, each by its own name
FIRST = "en"
UNIT_SETS = {
    "kW": ShownUnits("kW", "N·m", "kPa"),
    "PS": ShownUnits("PS", "N·m", "hPa"),
    "hp": ShownUnits("hp", "lbf·ft", "inHg"),
}
NO_BREAK = "\u00a0"


@cache
def catalogue(language: str) -> Mapping[str, str]:
    """Every string of one language by its key."""
    told: dict[str, str] = json.loads((STRINGS / f"results.{language}.json").read_text(encoding="utf-8"))
    return told


def language_of(asked: str, published: str, accepted: str) -> str:
    """The language to tell a page in: as asked by the switch, else as published, else as the browser would like it.

    `accepted`: the Accept-Language header. What nobody tells is passed over; English is what remains.
    """
    wishes = re.findall(r"([A-Za-z]{2,3})(?:-[A-Za-z0-9-]+)?(?:\s*;\s*q=([\d.]{1,5}))?", accepted[:200])
    liked = sorted(wishes, key=lambda wish: -_weight(wish[1]))
    wanted = (asked, published, *(code.lower() for code, _ in liked))
    return next((one for one in wanted if one in LANGUAGES), FIRST)


def _weight(text: str) -> float:
    try:
        return float(text or "1")
    except ValueError:
        return 0.0


@dataclass(frozen=True)
class Voice:
    """One language, one set of units, one clock."""

    language: str
    units: ShownUnits
    time_zone: str

    def say(self, key: str, **places: object) -> str:
        """The string of this key, its places filled. KeyError for a string that is in no catalogue."""
        return catalogue(self.language)[key].format_map(places)

    def number(self, value: float, decimals: int = 0) -> str:
        """A number with the language's decimal sign; thousands stay apart by a thin space in all of them."""
        return plain_number(value, decimals).replace(".", self.say("number.decimal"))

    def figure(self, value: float, dimension: str, decimals: int | None = None) -> str:
        """An SI value in the page's unit, the unit beside it."""
        return f"{self.bare(value, dimension, decimals)}{NO_BREAK}{self.units.label(dimension)}"

    def bare(self, value: float, dimension: str, decimals: int | None = None) -> str:
        """The same without its unit."""
        places = self.units.decimals(dimension) if decimals is None else decimals
        return self.number(self.units.number(value, dimension), places)

    def power(self, value_w: float | None, decimals: int | None = None) -> str:
        """Watts as the page shows power."""
        return self.figure(value_w or 0.0, "power", decimals)

    def torque(self, value_nm: float | None) -> str:
        """Newton metres as the page shows torque."""
        return self.figure(value_nm or 0.0, "torque")

    def speed(self, speed_rpm: float | None) -> str:
        """An engine speed with its unit."""
        return self.say("speed", number=self.number(speed_rpm or 0.0))

    def span(self, values: Sequence[float], decimals: int) -> str:
        """From the least to the greatest; one number where they read the same."""
        low, high = self.number(min(values), decimals), self.number(max(values), decimals)
        return low if low == high else self.say("range", low=low, high=high)

    def day(self, at: datetime) -> str:
        """A day by the shop's clock: 10 March 2026."""
        return self._dated("date.day", at)

    def moment(self, at: datetime) -> str:
        """A time by the shop's clock, to the minute."""
        return self._dated("date.moment", at)

    def _dated(self, key: str, at: datetime) -> str:
        here = at.astimezone(ZoneInfo(self.time_zone))
        month = self.say("date.months").split()[here.month - 1]
        return self.say(key, day=here.day, month=month, year=here.year, hour=f"{here:%H}", minute=f"{here:%M}")

    def listed(self, items: Iterable[str]) -> str:
        """One, two and three; empty for nothing."""
        *firsts, last = (*items,) or ("",)
        if not firsts:
            return last
        return self.say("list.and", first=self.say("list.comma").join(firsts), last=last)

    def standard(self, standard: Standard) -> str:
        """A standard's title; identifiers of standards are the same in every language."""
        return self.say("standard.observed") if standard.identifier == "observed" else standard.title
