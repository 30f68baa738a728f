"""One pull's page: its curve in depth and everything it was made from."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.charts import figure_of
from pullbook.db.evidence import Pull
from pullbook.measure.correction import STANDARDS
from pullbook.overlay_svg import NARROW, WIDE, panels_svg
from pullbook.pages.budget_shown import budget_shown
from pullbook.pages.cell_shown import PullPage
from pullbook.pages.coasting_shown import coasting_shown
from pullbook.pages.hold_shown import holds_shown
from pullbook.pages.joined_shown import joined_shown
from pullbook.pages.limits_shown import pull_limits
from pullbook.pages.mixture_shown import mixture_shown
from pullbook.pages.summing_up import safe_json, table_of
from pullbook.panels import AXIS_WORDS, one_pull
from pullbook.shop.reading import ReadSettings, read_pulls
from pullbook.shown_units import ShownUnits


def read_pull_page(session: Session, pull_id: str, settings: ReadSettings, units: ShownUnits) -> PullPage:
    """The page of one pull; NotFound for an unknown one."""
    pull = read_pulls(session, [pull_id], settings)[0]
    grid = pull.curve.engine_speed_rpm if pull.curve is not None else None
    panels = one_pull(pull, grid, units) if grid is not None else ()
    over = AXIS_WORDS[pull.curve.axis if pull.curve is not None else "engine_speed"]
    said = f"Pull {pull.facts.file_name} over {over}; the numbers are in the table"
    speeds, columns = table_of(panels, grid) if grid is not None else ((), ())
    others = session.scalars(
        select(Pull.id).where(
            Pull.ticket_id == pull.facts.ticket_id, Pull.state == "readable", Pull.set_aside_at.is_(None)
        )
    ).all()
    return PullPage(
        pull=pull,
        standard=STANDARDS[settings.standard],
        standards=tuple(STANDARDS.values()),
        window_s=settings.window_s,
        wide_svg=panels_svg(panels, grid, WIDE, said) if grid is not None else "",
        narrow_svg=panels_svg(panels, grid, NARROW, said) if grid is not None else "",
        figure=safe_json(figure_of(panels, grid, one_pull=True)) if grid is not None else "",
        speeds=speeds,
        columns=columns,
        other_ids=tuple(others),
        budget=budget_shown(pull),
        limits=pull_limits(pull.limits, units),
        mixture=mixture_shown(pull, units),
        holds=holds_shown(session, pull.facts, settings, units),
        joined=joined_shown(session, pull),
        coasting=coasting_shown(session, pull, settings, units),
    )
