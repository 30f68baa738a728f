"""Comparisons: several pulls under one standard on one grid, by setup."""

from typing import Annotated, Any

import numpy as np
from fastapi import Query, Request, Response

from pullbook.api.curve_shapes import ComparisonAnswer
from pullbook.api.curves import Standard, Step, Window, curve_summary, flag_facts, not_modified, rounded
from pullbook.deps import ReadSession, SettingsDep, SignedIn
from pullbook.errors import FieldProblem, Invalid
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.measure.verdict import WORTH_PCT
from pullbook.shop.comparing import MOST_PULLS, Comparison, Condition, SetupRead, compared
from pullbook.shop.facts import OnGrid
from pullbook.shop.judging import LEAST_WORTH_PCT, MOST_WORTH_PCT, Asked, Judged, refuse_bad_asking
from pullbook.shop.loading import load_pulls
from pullbook.shop.reading import ReadPull, ReadSettings, etag_of, read_loaded, refuse_unknown_standard
from pullbook.shop.tracing import digest_of
from pullbook.shown_units import ShownUnits
from pullbook.verdict_words import verdict_text

router = LateRouter(prefix="/api/v1/comparisons", tags=["comparisons"])

LowBand = Annotated[
    float | None, Query(description="Where the band begins, rev/min; unsaid: a tenth into what all pulls share.")
]
HighBand = Annotated[float | None, Query(description="Where the band ends, rev/min; unsaid: a tenth before the end.")]
Worth = Annotated[
    float,
    Query(description=f"From which difference on it matters, in %: {LEAST_WORTH_PCT:g} to {MOST_WORTH_PCT:g}."),
]


def _arrays(curve: OnGrid) -> dict[str, Any]:
    named = {name: getattr(curve, name) for name in ("power_w", "observed_power_w", "torque_nm", "spread_w")}
    told = rounded({**named, **curve.channels})
    return {**{name: told.pop(name) for name in named}, "channels": told}


def _pull(pull: ReadPull, comparison: Comparison, counts: bool) -> dict[str, Any]:
    nothing: dict[str, Any] = {
        "power_w": None,
        "observed_power_w": None,
        "torque_nm": None,
        "spread_w": None,
        "channels": {},
    }
    curve, facts = pull.curve, pull.facts
    here = curve is not None and curve.axis == comparison.axis
    return {
        "pull_id": facts.id,
        "taken_at": facts.taken_at,
        "file_name": facts.file_name,
        "cell_name": facts.cell_name,
        "operator_name": facts.operator_name,
        "set_aside_reason": facts.set_aside_reason,
        "counts_in_mean": counts,
        "failure": pull.failure,
        **(_arrays(pull.on_grid(comparison.engine_speed_rpm)) if here else nothing),
        "summary": None if curve is None else curve_summary(pull, curve),
        "flags": flag_facts(pull.flags),
        "provenance": pull.provenance,
    }


def _setup(setup: SetupRead, comparison: Comparison) -> dict[str, Any]:
    counting = {pull.facts.id for pull in setup.counting}
    return {
        "setup_id": setup.setup_id,
        "ticket_number": setup.ticket_number,
        "name": setup.name,
        "position": setup.position,
        "changed": setup.changed,
        "gear": setup.gear,
        "tyre_pressure_kpa": setup.tyre_pressure_kpa,
        "fuel": setup.fuel,
        "mean": None if setup.mean is None else {"counted": setup.counted, **_arrays(setup.mean)},
        "pulls": [_pull(pull, comparison, pull.facts.id in counting) for pull in setup.pulls],
    }


def comparison_facts(comparison: Comparison) -> dict[str, Any]:
    """A comparison as answered."""
    grid = comparison.engine_speed_rpm
    return {
        "conditions": _conditions(comparison.conditions),
        "conditions_alike": _conditions(comparison.alike),
        "flags": flag_facts(comparison.flags),
        "tickets": [
            {"id": ticket.id, "number": ticket.number, "vehicle_title": ticket.vehicle.title}
            for ticket in comparison.tickets
        ],
        "standard": comparison.standard,
        "standard_title": comparison.standard_title,
        "window_s": comparison.window_s,
        "step_rpm": comparison.step_rpm,
        "method_version": comparison.method_version,
        "axis": comparison.axis,
        "engine_speed_rpm": rounded({"engine_speed_rpm": grid})["engine_speed_rpm"],
        "setups": [_setup(setup, comparison) for setup in comparison.setups],
        "differences": [_difference(one) for one in comparison.judged],
        "shared_rpm": comparison.judgement.shared_rpm,
        "verdicts": [_verdict(one, comparison.standard_title) for one in comparison.judged],
    }


def _conditions(conditions: tuple[Condition, ...]) -> list[dict[str, Any]]:
    return [{"code": one.code, "name": one.name, "values": one.values} for one in conditions]


def _difference(one: Judged) -> dict[str, Any]:
    found = one.verdict
    first, later = (
        {"mean_power_w": mean_w, "scatter_w": scatter_w, "counted": counted}
        for mean_w, scatter_w, counted in zip(found.means_w, found.scatters_w, found.counts, strict=True)
    )
    return {
        "first_setup_id": one.first_id,
        "later_setup_id": one.later_id,
        "band_rpm": found.band_rpm,
        "difference_w": found.difference_w,
        "first": first,
        "later": later,
    }


def _verdict(one: Judged, standard_title: str) -> dict[str, Any]:
    found = one.verdict
    points = {name: np.round(getattr(found.pointwise, name), 1) for name in ("difference_w", "low_w", "high_w")}
    return {
        **_difference(one),
        "verdict": found.kind,
        "text": verdict_text(found, ShownUnits(), standard_title),
        "method": found.method,
        "pairs": found.pairs,
        "worth_pct": found.worth_pct,
        "difference_pct": found.difference_pct,
        "interval_w": found.interval_w,
        "interval_pct": found.interval_pct,
        "degrees_of_freedom": found.dof,
        "smallest_shown_w": found.smallest_shown_w,
        "smallest_shown_pct": found.smallest_shown_pct,
        "pulls_for_1_pct": found.pulls_for_1_pct,
        "pulls_for_worth": found.pulls_for_worth,
        "own_parts": [{"code": part.code, "words": part.words, "u_pct": part.u_pct} for part in one.own],
        "heat_soak_suspected_in": one.soaked,
        "pointwise": points,
        "set_aside": [
            {name: getattr(pull, name) for name in ("pull_id", "setup_id", "taken_at", "file_name", "reason")}
            for pull in one.set_aside
        ],
    }


@router.get(
    "",
    summary="Compare pulls",
    response_model=ComparisonAnswer,
    responses={304: {"description": "What the client holds (If-None-Match) is still what would be answered."}},
)
def get(
    request: Request,
    person: SignedIn,
    session: ReadSession,
    settings: SettingsDep,
    pull_id: Annotated[list[str], Query(description="One for each pull, up to 60.")],
    standard: Standard = "iso_1585",
    window_s: Window = None,
    step_rpm: Step = 50.0,
    band_low_rpm: LowBand = None,
    band_high_rpm: HighBand = None,
    worth_pct: Worth = WORTH_PCT,
) -> Response:
    """Pulls set aside are shown, marked, and left out of the means; so are those that could not be corrected."""
    wanted = ReadSettings(standard, window_s, step_rpm, settings.weather_stale_minutes)
    asked = Asked(band_low_rpm, band_high_rpm, worth_pct)
    refuse_unknown_standard(standard)
    refuse_bad_asking(asked)
    if not 1 <= len(pull_id) <= MOST_PULLS:
        raise Invalid(
            f"{len(pull_id)} pulls were named.", FieldProblem("pull_id", len(pull_id), f"from 1 to {MOST_PULLS} pulls")
        )
    loaded = load_pulls(session, pull_id)
    etag = f'"{digest_of([asked, *(etag_of(one, wanted) for one in loaded)])}"'
    headers = {"ETag": etag, "Cache-Control": "private, no-cache"}
    if not_modified(request, etag):
        return Response(status_code=304, headers=headers)
    pulls = [read_loaded(one, wanted) for one in loaded]
    return Json(comparison_facts(compared(pulls, wanted, asked)), headers=headers)
