"""Figures of a month in words: what each is called, what it counts, and its value as people read it."""

from pullbook.late_methods import dataclass
from pullbook.pages.charges_shown import cents
from pullbook.shop.looking_back import Month, figure_of
from pullbook.shown_units import plain_number

FIRST_HALF = ("January", "February", "March", "April", "May", "June")
NAMES = (*FIRST_HALF, "July", "August", "September", "October", "November", "December")


@dataclass(frozen=True)
class Told:
    """A figure's title, what it counts, and of which kind it is: count, hours or money."""

    title: str
    counts: str
    kind: str = "count"


GROUPS: dict[str, dict[str, Told]] = {
    "Jobs": {
        "opened": Told("Tickets opened", "Tickets whose first step lies in the month."),
        "come_again": Told("… for customers who came again", "Of those, tickets of a customer who had one before."),
        "done": Told("Jobs done", "Tickets that were collected in the month."),
        "cancelled": Told("Cancelled", "Tickets cancelled in the month that stand cancelled still."),
        "turnaround": Told(
            "Turnaround, median",
            "Of jobs done in the month: from check-in, or the cell where nobody checked the car in, to the last time "
            "it became ready. Half of them took no longer.",
            "span",
        ),
        "turnaround_90th": Told("Turnaround, nine in ten", "Nine of ten jobs took no longer than this.", "span"),
    },
    "Cells": {
        "booked_s": Told("Hours booked", "Booked in a cell, on tickets that are not cancelled.", "hours"),
        "used_s": Told("Hours used", "From in cell to the next step; a car that is in it now counts later.", "hours"),
    },
    "Pulls": {
        "pulls": Told("Pulls", "Pulls taken in the month, whatever could be made of them."),
        "set_aside": Told("Set aside", "Of those, pulls that stand set aside."),
        "unreadable": Told("Unreadable", "Of those, pulls whose file cannot be read yet."),
    },
    "Income": {
        "net_cents": Told("Income without tax", "Charges on jobs done or cancelled in the month.", "money"),
        "tax_cents": Told("Tax on it", "What the charges' rates add.", "money"),
        "paid_cents": Told("Paid of these jobs", "Payments for those jobs up to now, whenever made.", "money"),
        "owed_cents": Told("Still owed", "What is due on those jobs now.", "money"),
        "overpaid_cents": Told("Paid too much", "What those jobs have been overpaid.", "money"),
        "came_in_cents": Told("Money that came in", "Payments made in the month, for any job.", "money"),
    },
    "Results links": {
        "links_sent": Told("Links sent", "Links to results made in the month."),
        "links_opened": Told("… that were opened", "Of those, links that somebody has opened since."),
        "link_openings": Told("Times opened", "How often they have been opened since."),
    },
}
FIGURES_TOLD = {name: one for group in GROUPS.values() for name, one in group.items()}


def told_of(figure: str, kind: str) -> Told:
    """What is said of a figure; of income, by kind of work."""
    if figure != "income":
        return FIGURES_TOLD[figure]
    return Told(
        f"Income: {kind or 'no kind said'}", "Charges without tax on jobs done or cancelled in the month.", "money"
    )


def month_words(month: str) -> str:
    """November 2026."""
    return f"{NAMES[int(month[5:]) - 1]} {month[:4]}"


def month_short(month: str) -> str:
    """Nov 2026."""
    return f"{NAMES[int(month[5:]) - 1][:3]} {month[:4]}"


def value_words(kind: str, value: int) -> str:
    """A count, hours or money as people read it, without its unit where the page says it."""
    if kind == "money":
        return cents(value)
    return f"{plain_number(value / 3600.0, 1)} h" if kind == "hours" else plain_number(value)


def span_words(seconds: int | None) -> str:
    """How long: 40 min, 5 h 20 min, 3.4 days."""
    if seconds is None:
        return "–"
    if seconds < 48 * 3600:
        hours, minutes = divmod(round(seconds / 60), 60)
        return f"{hours} h {minutes:02d} min" if hours else f"{minutes} min"
    return f"{plain_number(seconds / 86400, 1)} days"


def figure_words(month: Month, figure: str, kind_of_work: str = "") -> str:
    """A month's figure as people read it."""
    told = told_of(figure, kind_of_work)
    if told.kind == "span":
        return span_words(_span_s(month, figure))
    return value_words(told.kind, figure_of(month, figure, kind_of_work))


def change_words(this: Month, other: Month, figure: str, kind_of_work: str = "") -> str:
    """This month against another: +3, −1.5 h; nothing where both are alike or cannot be compared."""
    told = told_of(figure, kind_of_work)
    if told.kind == "span":
        here, there = _span_s(this, figure), _span_s(other, figure)
        if here is None or there is None or here == there:
            return ""
        return f"{'+' if here > there else '−'}{span_words(abs(here - there))}"
    apart = figure_of(this, figure, kind_of_work) - figure_of(other, figure, kind_of_work)
    words = value_words(told.kind, apart)
    return f"+{words}" if apart > 0 else words if apart else ""


def _span_s(month: Month, figure: str) -> int | None:
    return month.turnaround_median_s if figure == "turnaround" else month.turnaround_90th_s
