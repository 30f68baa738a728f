"""The comparison's page: what the address chooses, laid over each other, drawn and in figures."""

from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.charts import figure_of
from pullbook.db.evidence import Pull
from pullbook.errors import Invalid
from pullbook.measure.correction import STANDARDS
from pullbook.overlay_svg import NARROW, overlay_svg
from pullbook.pages.cell_shown import ComparePage
from pullbook.pages.summing_up import safe_json, summaries, table_of
from pullbook.panels import panels_of
from pullbook.shop.comparing import Comparison, compare
from pullbook.shop.reading import ReadPull, ReadSettings, read_pulls
from pullbook.shown_units import ShownUnits

MOST_CHOICES = 120


def read_comparison(
    session: Session, pull_ids: Sequence[str], settings: ReadSettings, units: ShownUnits, ticket_id: str | None
) -> ComparePage:
    """The page for these pulls; with none chosen it offers those of the ticket named."""
    comparison, refusal = None, ""
    if pull_ids:
        try:
            comparison = compare(session, pull_ids, settings)
        except Invalid as error:
            refusal = error.message
    ticket_ids = [ticket.id for ticket in comparison.tickets] if comparison else [ticket_id] if ticket_id else []
    drawn = panels_of(comparison, units) if comparison else ()
    grid = comparison.engine_speed_rpm if comparison else ()
    speeds, columns = table_of(drawn, comparison.engine_speed_rpm) if comparison else ((), ())
    return ComparePage(
        comparison=comparison,
        refusal=refusal,
        summaries=summaries(comparison) if comparison else (),
        standard=settings.standard,
        standards=tuple(STANDARDS.values()),
        window_s=settings.window_s,
        step_rpm=settings.step_rpm,
        chosen=frozenset(pull_ids),
        choices=_choices(session, ticket_ids, pull_ids, settings),
        wide_svg=overlay_svg(comparison, units) if comparison else "",
        narrow_svg=overlay_svg(comparison, units, NARROW) if comparison else "",
        figure=safe_json(figure_of(drawn, comparison.engine_speed_rpm)) if comparison and len(grid) else "",
        speeds=speeds,
        columns=columns,
    )


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


def csv_of(comparison: Comparison, units: ShownUnits) -> str:
    """The comparison as drawn, for a spreadsheet: how it was read in comment lines, then one column a line."""
    panels = panels_of(comparison, units)
    rows = [f"# {comparison.standard_title}; method {comparison.method_version}"]
    window = "chosen from each pull's data" if comparison.window_s is None else f"{comparison.window_s:g} s"
    rows.append(f"# local fit {window}; grid {comparison.step_rpm:g} rev/min; power and torque at the wheels")
    for ticket in comparison.tickets:
        rows.append(f"# ticket {ticket.number}")
    lines = [(panel, line) for panel in panels for line in panel.lines]
    names = [f"{panel.key} {line.label} ({line.kind}) [{panel.unit}]" for panel, line in lines]
    rows.append(",".join(_cell(name) for name in ("engine speed [rev/min]", *names)))
    for place, speed in enumerate(comparison.engine_speed_rpm):
        values = (float(line.values[place]) for _, line in lines)
        rows.append(",".join([f"{speed:g}", *("" if value != value else f"{value:.6g}" for value in values)]))
    return "\r\n".join(rows) + "\r\n"


def _cell(text: str) -> str:
    """A heading as a CSV cell: what a spreadsheet would take for a formula begins with an apostrophe."""
    safe = "'" + text if text[:1] in "=+-@\t\r" else text
    return '"' + safe.replace('"', '""') + '"'
