"""What the customer's template is given: every text of it said already, in the page's language and units."""

from typing import ClassVar

from pullbook.late_methods import dataclass
from pullbook.measure.correction import Standard
from pullbook.pages.cell_shown import DataColumn, SetupSummary
from pullbook.pages.chain_foot import ChainFoot
from pullbook.pages.told import Shown, told
from pullbook.shop.publishing import Published


@dataclass(frozen=True)
class Fact:
    """A line of how it was measured: what, and how it was."""

    title: str
    text: str


@dataclass(frozen=True)
class FlagLine:
    """What the reader should know, and in how many of the pulls that count it was seen; 0: of the comparison."""

    text: str
    seen: int
    of: int


@dataclass(frozen=True)
class MovedLine:
    """A figure that is not as it was."""

    what: str
    was: str
    now: str


@dataclass(frozen=True)
class Amended:
    """What changed since it was published: why and when, the figures of whole setups, those of single pulls."""

    whys: tuple[str, ...]
    figures: tuple[MovedLine, ...]
    pulls: tuple[MovedLine, ...]

    @property
    def has_moved(self) -> bool:
        """Whether anything that is shown is not as it was."""
        return bool(self.figures or self.pulls)


@dataclass(frozen=True)
class Choice:
    """One way to see the page: its name, the query that leads there, and whether it is the one shown."""

    name: str
    query: str
    code: str
    is_shown: bool


@dataclass(frozen=True)
class ResultsPage(Shown):
    """What the customer opens."""

    template: ClassVar[str] = "results/show.html"
    published: Published = told("The link, the ticket, the comparison, and what changed since.")
    is_preview: bool = told("True before it is published: the page says so, and nothing was kept.")
    shop_address: str = told("Where the shop is; empty when it does not say.")
    languages: tuple[Choice, ...] = told("The languages it can be read in.")
    unit_sets: tuple[Choice, ...] = told("The units it can be read in.")
    amended: Amended | None = told("What changed since it was published; None where nothing did.")
    earlier: tuple[MovedLine, ...] = told("Headline figures of the results that these replace, beside these.")
    standard: Standard = told("The standard it was published under.")
    summaries: tuple[SetupSummary, ...] = told("Headline figures by setup.")
    sentences: tuple[str, ...] = told("Before and after in words.")
    days: str = told("The days the pulls were taken on.")
    flags: tuple[FlagLine, ...] = told("What the reader should know of single pulls, each kind once.")
    apart: tuple[Fact, ...] = told("Conditions that were not the same for all setups.")
    facts: tuple[Fact, ...] = told("How it was measured, line by line.")
    svg: str = told("The drawing, as finished markup.")
    explored: str = told("The drawing's numbers and words for its readout, as JSON.")
    speeds: tuple[str, ...] = told("The table's engine speeds, every fifth of the grid.")
    columns: tuple[DataColumn, ...] = told("The table's columns.")
    chain: ChainFoot | None = told("Where they stand in the chain of entries; None in a preview.", None)
