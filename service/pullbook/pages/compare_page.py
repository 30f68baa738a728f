"""The comparison's page: what the address chooses, laid over each other, drawn and in figures."""

import re
from collections.abc import Sequence
from dataclasses import field

from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.charts import figure_of
from pullbook.db.evidence import Pull
from pullbook.db.tables import Ticket
from pullbook.difference_panel import compared_panels
from pullbook.errors import Invalid
from pullbook.late_methods import dataclass
from pullbook.measure.correction import STANDARDS
from pullbook.overlay_svg import NARROW, compared_svg
from pullbook.pages.cell_shown import ComparePage
from pullbook.pages.judging_asked import Typed, asked_of, judged_by
from pullbook.pages.summing_up import safe_json, summaries, table_of
from pullbook.pages.telling_apart import first_words, verdict_part
from pullbook.pages.verdict_shown import VerdictPart
from pullbook.panels import not_drawn
from pullbook.shop.comparing import Comparison, compared
from pullbook.shop.reading import ReadPull, ReadSettings, read_pulls
from pullbook.shown_units import ShownUnits

MOST_CHOICES = 120
MOST_TICKETS = 6


@dataclass(frozen=True)
class Address:
    """What the address says besides the pulls: where more are chosen from, and what they are judged by."""

    ticket_id: str = ""
    also: str = ""
    judging: Typed = field(default_factory=Typed)


def read_comparison(
    session: Session, pull_ids: Sequence[str], settings: ReadSettings, units: ShownUnits, address: Address
) -> ComparePage:
    """The page for these pulls, with those of their tickets and of the tickets in the address to choose."""
    comparison, refusal = _compared(session, pull_ids, settings, address.judging)
    ticket_id, also = address.ticket_id, address.also
    ticket_ids = {ticket.id: None for ticket in comparison.tickets} if comparison else {}
    ticket_ids |= {ticket_id: None} if ticket_id else {}
    further, unknown = _numbered(session, also)
    drawn = compared_panels(comparison, units) if comparison else ()
    grid = comparison.engine_speed_rpm if comparison else ()
    speeds, columns = table_of(drawn, comparison.engine_speed_rpm) if comparison else ((), ())
    return ComparePage(
        comparison=comparison,
        refusal=" ".join(said for said in (refusal, unknown) if said),
        first_words=first_words(comparison) if comparison else (),
        summaries=summaries(comparison) if comparison else (),
        verdicts=verdict_part(comparison, units) if comparison else VerdictPart(),
        judged_by=judged_by(comparison, address.judging),
        places={setup.setup_id: setup.place for setup in comparison.setups} if comparison else {},
        ticket_id=next(iter(ticket_ids), ""),
        also=also,
        standard=settings.standard,
        standards=tuple(STANDARDS.values()),
        window_s=settings.window_s,
        step_rpm=settings.step_rpm,
        chosen=frozenset(pull_ids),
        choices=_choices(session, list(ticket_ids | further), pull_ids, settings),
        wide_svg=compared_svg(comparison, drawn) if comparison else "",
        narrow_svg=compared_svg(comparison, drawn, NARROW) if comparison else "",
        figure=safe_json(figure_of(drawn, comparison.engine_speed_rpm)) if comparison and len(grid) else "",
        not_drawn=not_drawn(comparison) if comparison else "",
        speeds=speeds,
        columns=columns,
    )


def _compared(
    session: Session, pull_ids: Sequence[str], settings: ReadSettings, typed: Typed
) -> tuple[Comparison | None, str]:
    """The comparison, and what of the address will not do; a band that will not do is left out, and the rest stands."""
    if not pull_ids:
        return None, ""
    try:
        pulls = read_pulls(session, pull_ids, settings)
    except Invalid as error:
        return None, error.message
    try:
        return compared(pulls, settings, asked_of(typed)), ""
    except Invalid as error:
        return compared(pulls, settings), f"{error.message} Judged as usual instead."


def _numbered(session: Session, also: str) -> tuple[dict[str, None], str]:
    """The ids of the tickets whose numbers were typed, and a word about those that do not exist."""
    typed = [word for word in re.split(r"[^0-9]+", also) if word][:MOST_TICKETS]
    numbers = [int(word) for word in typed if len(word) < 10]
    rows = session.execute(select(Ticket.number, Ticket.id).where(Ticket.number.in_(numbers))) if numbers else ()
    known = {str(number): ticket_id for number, ticket_id in rows}
    missing = [word for word in typed if word.lstrip("0") not in known]
    said = f"There is no ticket {', '.join(missing)}." if missing else ""
    return dict.fromkeys(known.values()), said


def _choices(
    session: Session, ticket_ids: Sequence[str], chosen: Sequence[str], settings: ReadSettings
) -> tuple[ReadPull, ...]:
    """Every pull of these tickets, setup by setup, oldest first."""
    found = session.scalars(
        select(Pull.id).where(Pull.ticket_id.in_(ticket_ids)).order_by(Pull.taken_at, Pull.id).limit(MOST_CHOICES)
    ).all()
    wanted = list(dict.fromkeys([*found, *chosen])) if ticket_ids else list(chosen)
    if not wanted:
        return ()
    pulls = read_pulls(session, wanted, settings)
    return tuple(
        sorted(pulls, key=lambda pull: (pull.facts.ticket_number, pull.facts.setup_position, pull.facts.taken_at))
    )
