"""What the customer's template is given."""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar

from pullbook.measure.correction import Standard
from pullbook.pages.cell_shown import DataColumn, SetupSummary
from pullbook.pages.told import Shown, told
from pullbook.shop.publishing import Published


@dataclass(frozen=True)
class AirLine:
    """The air of a setup's pulls in one line, and the factor it made."""

    position: int
    text: str


@dataclass(frozen=True)
class FlagLine:
    """What the reader should know, and in how many of the pulls that count it was seen; 0: of the comparison."""

    text: str
    seen: int
    of: int


@dataclass(frozen=True)
class Amendment:
    """Why figures are not those that were published, and each of them: is, was."""

    why: str
    figures: tuple[str, ...]


@dataclass(frozen=True)
class ResultsPage(Shown):
    """What the customer opens."""

    template: ClassVar[str] = "results/show.html"
    published: Published = told("The link, the ticket, the comparison, and what changed since.")
    is_preview: bool = told("True before it is published: the page says so, and nothing was kept.")
    shop_address: str = told("Where the shop is; empty when it does not say.")
    amendments: tuple[Amendment, ...] = told("What changed since it was published, by reason.")
    standard: Standard = told("The standard it was published under.")
    summaries: tuple[SetupSummary, ...] = told("Headline figures by setup.")
    sentences: tuple[str, ...] = told("Before and after in words.")
    days: tuple[datetime, ...] = told("The days the pulls were taken on.")
    cell_names: tuple[str, ...] = told("The cells they were taken in.")
    flags: tuple[FlagLine, ...] = told("What the reader should know of single pulls, each kind once.")
    air: tuple[AirLine, ...] = told("Air and factor by setup.")
    svg: str = told("The drawing, as finished markup.")
    speeds: tuple[str, ...] = told("The table's engine speeds, every fifth of the grid.")
    columns: tuple[DataColumn, ...] = told("The table's columns.")
