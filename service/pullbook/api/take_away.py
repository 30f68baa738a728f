"""Taking numbers away: curves, samples and comparisons as CSV, Parquet or a drawing, with what they were made from."""

import re
from collections.abc import Callable
from typing import Annotated, Any, Literal

from fastapi import Depends, Path, Query, Response
from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.api.comparisons import HighBand, LowBand, Worth
from pullbook.api.curves import Standard, Step, Window
from pullbook.db.tables import Shop
from pullbook.deps import ReadSession, SettingsDep, SignedIn
from pullbook.difference_panel import compared_panels
from pullbook.drawn_alone import POLICY, SVG_TYPE, alone
from pullbook.errors import Clash
from pullbook.late_routes import LateRouter
from pullbook.measure.correction import STANDARDS
from pullbook.measure.curve import Curve
from pullbook.measure.verdict import WORTH_PCT
from pullbook.overlay_svg import WIDE, compared_svg, panels_svg
from pullbook.panels import one_pull
from pullbook.runfile.channels import ChannelMapError
from pullbook.shop.comparing import Comparison, compare
from pullbook.shop.judging import Asked
from pullbook.shop.loading import load_pulls
from pullbook.shop.reading import ReadPull, ReadSettings, read_pulls
from pullbook.shop.taking_away import CSV_TYPE, PARQUET_TYPE, TakenAway, csv_bytes, parquet_bytes
from pullbook.shown_units import ShownUnits
from pullbook.taken_tables import channel_table, comparison_table, curve_table

router = LateRouter(prefix="/api/v1", tags=["take away"])
PullId = Annotated[str, Path(description="The pull's id.")]
PullIds = Annotated[list[str], Query(alias="pull_id", description="One for each pull, up to 60.")]
Sheet = Annotated[Literal["light", "dark"], Query(description="For paper, or for a dark screen.")]
Said = dict[int | str, dict[str, Any]]
NO_CURVE: Said = {409: {"description": "The pull has no curve; `detail` says why and what would help."}}


def reading(
    settings: SettingsDep, standard: Standard = "iso_1585", window_s: Window = None, step_rpm: Step = 50.0
) -> ReadSettings:
    """How the query wants pulls read."""
    return ReadSettings(standard, window_s, step_rpm, settings.weather_stale_minutes)


def asking(band_low_rpm: LowBand = None, band_high_rpm: HighBand = None, worth_pct: Worth = WORTH_PCT) -> Asked:
    """Over which band, and from which share on, the query wants setups judged."""
    return Asked(band_low_rpm, band_high_rpm, worth_pct)


Reading = Annotated[ReadSettings, Depends(reading)]
Asking = Annotated[Asked, Depends(asking)]


def _content(kind: str, words: str) -> Said:
    return {200: {"content": {kind.partition(";")[0]: {}}, "description": words}}


CSV = _content(CSV_TYPE, "Comment lines that say what it is, one heading line with units, then numbers.")
PARQUET = _content(PARQUET_TYPE, "Float64 columns; what they are stands in the file's and the columns' metadata.")
SVG = _content(SVG_TYPE, "A drawing that needs nothing beside it.")


def _file(data: bytes, kind: str, name: str, **headers: str) -> Response:
    safe = re.sub(r"[^A-Za-z0-9._-]+", "-", name)
    told = {"Content-Disposition": f'attachment; filename="{safe}"', "Cache-Control": "no-store", **headers}
    return Response(data, media_type=kind, headers=told)


def _csv(table: TakenAway, name: str) -> Response:
    return _file(csv_bytes(table), CSV_TYPE, f"{name}.csv")


def _parquet(table: TakenAway, name: str) -> Response:
    return _file(parquet_bytes(table), PARQUET_TYPE, f"{name}.parquet")


def _svg(svg: str, foot: str, sheet: str, name: str) -> Response:
    if not svg:
        raise Clash("There is nothing to draw: none of these pulls has a curve.")
    headers = {"Content-Security-Policy": POLICY}
    return _file(alone(svg, foot, sheet).encode(), SVG_TYPE, f"{name}.svg", **headers)


def _units(session: Session) -> ShownUnits:
    row = session.execute(select(Shop.power_unit, Shop.torque_unit, Shop.pressure_unit)).one_or_none()
    return ShownUnits() if row is None else ShownUnits(*row)


def _read(session: Session, pull_id: str, wanted: ReadSettings) -> tuple[ReadPull, Curve]:
    pull = read_pulls(session, [pull_id], wanted)[0]
    if pull.curve is None:
        raise Clash(pull.failure or "This pull has no curve.")
    return pull, pull.curve


def _curve_name(pull: ReadPull, curve: Curve) -> str:
    return f"ticket-{pull.facts.ticket_number}-pull-{pull.facts.id}-{curve.standard}"


def _curve(session: Session, pull_id: str, wanted: ReadSettings, out: Callable[[TakenAway, str], Response]) -> Response:
    pull, curve = _read(session, pull_id, wanted)
    return out(curve_table(pull, curve), _curve_name(pull, curve))


def _samples(session: Session, pull_id: str, out: Callable[[TakenAway, str], Response]) -> Response:
    loaded = load_pulls(session, [pull_id])[0]
    try:
        table = channel_table(loaded)
    except (LookupError, ChannelMapError) as error:
        reason = loaded.facts.unreadable_reason or str(error)
        raise Clash(f"This pull's columns cannot be read yet: {reason}") from error
    return out(table, f"ticket-{loaded.facts.ticket_number}-pull-{pull_id}-samples")


def _factors(found: Comparison) -> str:
    factors = [pull.curve.factor for setup in found.setups for pull in setup.counting if pull.curve is not None]
    known = sorted({f"{factor:.4f}" for factor in factors if factor is not None})
    return "no factor" if not known else f"factor {' to '.join(dict.fromkeys((known[0], known[-1])))}"


def _comparison_name(found: Comparison) -> str:
    return f"ticket-{'-'.join(str(ticket.number) for ticket in found.tickets)}-{found.standard}"


@router.get(
    "/pulls/{pull_id}/curve.csv",
    summary="A curve as CSV",
    response_class=Response,
    responses={**CSV, **NO_CURVE},
)
def curve_csv(pull_id: PullId, person: SignedIn, session: ReadSession, wanted: Reading) -> Response:
    """In W and N·m with every channel on the same grid; a reader of float64 gets the very same numbers back."""
    return _curve(session, pull_id, wanted, _csv)


@router.get(
    "/pulls/{pull_id}/curve.parquet",
    summary="A curve as Parquet",
    response_class=Response,
    responses={**PARQUET, **NO_CURVE},
)
def curve_parquet(pull_id: PullId, person: SignedIn, session: ReadSession, wanted: Reading) -> Response:
    """The same columns with title and unit in each column's metadata."""
    return _curve(session, pull_id, wanted, _parquet)


@router.get(
    "/pulls/{pull_id}/curve.svg", summary="A curve drawn", response_class=Response, responses={**SVG, **NO_CURVE}
)
def curve_svg(
    pull_id: PullId, person: SignedIn, session: ReadSession, wanted: Reading, sheet: Sheet = "light"
) -> Response:
    """As the pull's page draws it, in the shop's units, its standard and factor beneath."""
    pull, curve = _read(session, pull_id, wanted)
    units, grid = _units(session), curve.engine_speed_rpm
    factor = "no factor" if curve.factor is None else f"factor {curve.factor:.4f}"
    foot = (
        f"Ticket {pull.facts.ticket_number}, {pull.facts.setup_name}, {pull.facts.taken_at:%Y-%m-%d %H:%M} UTC; "
        f"{STANDARDS[curve.standard].title}, {factor}; local fit {curve.window_s:.3g} s; method {curve.method_version}"
    )
    svg = panels_svg(one_pull(pull, grid, units), grid, WIDE, f"Pull {pull.facts.file_name}")
    return _svg(svg, foot, sheet, _curve_name(pull, curve))


@router.get(
    "/pulls/{pull_id}/channels.csv",
    summary="Every sample as CSV",
    response_class=Response,
    responses={**CSV, 409: {"description": "The file cannot be read yet."}},
)
def channels_csv(pull_id: PullId, person: SignedIn, session: ReadSession) -> Response:
    """Every mapped channel as recorded, in inside units, nothing repaired or corrected."""
    return _samples(session, pull_id, _csv)


@router.get(
    "/pulls/{pull_id}/channels.parquet",
    summary="Every sample as Parquet",
    response_class=Response,
    responses={**PARQUET, 409: {"description": "The file cannot be read yet."}},
)
def channels_parquet(pull_id: PullId, person: SignedIn, session: ReadSession) -> Response:
    """Every mapped channel as recorded; columns are named as the table of quantities names them."""
    return _samples(session, pull_id, _parquet)


@router.get("/comparisons.csv", summary="A comparison as CSV", response_class=Response, responses={**CSV})
def comparison_csv(
    pull_id: PullIds, person: SignedIn, session: ReadSession, wanted: Reading, asked: Asking
) -> Response:
    """Means and single pulls on one grid, in W and N·m, and differences with their 95 % interval."""
    found = compare(session, pull_id, wanted, asked)
    return _csv(comparison_table(found, _units(session)), _comparison_name(found))


@router.get("/comparisons.parquet", summary="A comparison as Parquet", response_class=Response, responses={**PARQUET})
def comparison_parquet(
    pull_id: PullIds, person: SignedIn, session: ReadSession, wanted: Reading, asked: Asking
) -> Response:
    """The same columns with title and unit in each column's metadata."""
    found = compare(session, pull_id, wanted, asked)
    return _parquet(comparison_table(found, _units(session)), _comparison_name(found))


@router.get(
    "/comparisons.svg",
    summary="A comparison drawn",
    response_class=Response,
    responses={**SVG, 409: {"description": "None of the pulls has a curve."}},
)
def comparison_svg(
    pull_id: PullIds,
    person: SignedIn,
    session: ReadSession,
    wanted: Reading,
    asked: Asking,
    sheet: Sheet = "light",
) -> Response:
    """As the comparison's page draws it, in the shop's units, its standard beneath."""
    found = compare(session, pull_id, wanted, asked)
    named = "; ".join(f"{setup.called}, mean of {setup.counted}" for setup in found.setups)
    foot = f"{found.standard_title}, {_factors(found)}; {named}; method {found.method_version}"
    svg = compared_svg(found, compared_panels(found, _units(session)), WIDE)
    return _svg(svg, foot, sheet, _comparison_name(found))
