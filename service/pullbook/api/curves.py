"""One pull's curve: read anew each time, with the figures, the flags and everything it was made from."""

from collections.abc import Mapping
from typing import Annotated, Any

import numpy as np
from fastapi import Path, Query, Request, Response

from pullbook.api.air_factors import air_facts
from pullbook.api.budget_shapes import BUDGETED_EXAMPLE, BudgetedCurve, budget_facts
from pullbook.deps import ReadSession, SettingsDep, SignedIn
from pullbook.errors import Clash
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.measure.curve import Curve, Figure, Flag
from pullbook.shop.facts import Floats
from pullbook.shop.freewheeling import under_another
from pullbook.shop.loading import load_pulls
from pullbook.shop.reading import ReadPull, ReadSettings, etag_of, read_loaded, refuse_unknown_standard

router = LateRouter(prefix="/api/v1/pulls", tags=["curves"])

Standard = Annotated[
    str,
    Query(max_length=40, description="Which correction standard; GET /api/v1/air lists them.", examples=["iso_1585"]),
]
Window = Annotated[
    float | None,
    Query(ge=0.005, le=5.0, description="Width of the local fit in seconds; chosen from the data when left out."),
]
Step = Annotated[float, Query(ge=5.0, le=1000.0, description="Step of the grid in rev/min.")]
OtherCalibration = Annotated[
    str | None,
    Query(max_length=40, description="Another calibration of the cell: what it *would* have said; not in force then."),
]
DECIMALS = {"power_w": 1, "observed_power_w": 1, "spread_w": 1, "torque_nm": 3, "engine_speed_rpm": 3}


def not_modified(request: Request, etag: str) -> bool:
    """Whether the client holds this very answer already."""
    held = [tag.strip().removeprefix("W/") for tag in request.headers.get("if-none-match", "").split(",")]
    return etag in held or "*" in held


def rounded(arrays: Mapping[str, Floats]) -> dict[str, Floats]:
    """As many decimals as any instrument could mean: shorter to send, and NaN becomes null on the way.

    All at once: one call for a table of twelve rows costs what one call for each row does.
    """
    scale = np.array([[10.0 ** DECIMALS.get(name, 4)] for name in arrays])
    return dict(zip(arrays, np.rint(np.array([*arrays.values()]) * scale) / scale, strict=True))


def flag_facts(flags: tuple[Flag, ...]) -> list[dict[str, str]]:
    """Flags as answered."""
    return [{"code": flag.code, "text": flag.text} for flag in flags]


def figure_facts(figure: Figure, decimals: int) -> dict[str, float]:
    """A headline figure as answered."""
    return {
        "value": round(float(figure.value), decimals),
        "at_engine_speed_rpm": round(float(figure.at_engine_speed_rpm), 2),
        "expanded_uncertainty": round(float(figure.expanded_uncertainty), decimals + 1),
    }


def headline_facts(curve: Curve) -> dict[str, Any]:
    """The figures people quote, as answered."""
    headline = curve.headline
    return {
        "peak_power_w": figure_facts(headline.peak_power_w, 1),
        "peak_torque_nm": figure_facts(headline.peak_torque_nm, 3),
        "mean_power_w": figure_facts(headline.mean_power_w, 1),
        "band_rpm": [float(edge) for edge in headline.band_rpm],
        "area_w_rpm": round(float(headline.area_w_rpm), 0),
    }


def lag_facts(curve: Curve) -> dict[str, Any]:
    """How late measured λ was, and what that rests on."""
    lag = None if curve.in_place is None else curve.in_place.lag
    return {
        "lambda_lag_s": None if lag is None else round(lag.lag_s, 4),
        "lambda_lag_u_s": None if lag is None else round(lag.u_s, 4),
        "lambda_lag_basis": None if lag is None else "found" if lag.found else lag.quality,
    }


def curve_summary(pull: ReadPull, curve: Curve) -> dict[str, Any]:
    """Everything about a curve but its arrays."""
    return {
        "headline": headline_facts(curve),
        "standard": curve.standard,
        "factor": None if curve.factor is None else round(float(curve.factor), 6),
        "factor_valid": curve.factor_valid,
        "factor_note": curve.factor_note,
        "air": None if curve.air is None else air_facts(curve.air),
        "window_s": curve.window_s,
        "window_chosen": curve.window_chosen,
        "axis": curve.axis,
        "engine_turns_per_roller_turn": None if curve.ratio is None else round(float(curve.ratio), 5),
        "ratio_drift": None if curve.ratio_drift is None else round(float(curve.ratio_drift), 5),
        "sweep_s": [round(float(edge), 4) for edge in curve.sweep_s],
        "counts": curve.counts,
        **lag_facts(curve),
    }


@router.get(
    "/{pull_id}/curve",
    summary="A pull's curve",
    response_model=BudgetedCurve,
    responses={
        200: {"content": {"application/json": {"example": BUDGETED_EXAMPLE}}},
        304: {"description": "What the client holds (If-None-Match) is still what would be answered."},
        409: {"description": "The pull has no curve; `detail` says why and what would help."},
    },
)
def get(
    pull_id: Annotated[str, Path(description="The pull's id.")],
    request: Request,
    person: SignedIn,
    session: ReadSession,
    settings: SettingsDep,
    standard: Standard = "iso_1585",
    window_s: Window = None,
    step_rpm: Step = 50.0,
    calibration_id: OtherCalibration = None,
) -> Response:
    """Calculated from the raw file at every reading; the same inputs give the same bits and the same ETag."""
    wanted = ReadSettings(standard, window_s, step_rpm, settings.weather_stale_minutes)
    refuse_unknown_standard(standard)
    loaded = load_pulls(session, [pull_id])[0]
    in_force = calibration_id is None or (loaded.calibration is not None and calibration_id == loaded.calibration.id)
    if calibration_id is not None and not in_force:
        loaded = under_another(session, loaded, calibration_id)
    etag = f'"{etag_of(loaded, wanted)}{"" if in_force else "-not-in-force"}"'
    headers = {"ETag": etag, "Cache-Control": "private, no-cache"}
    if not_modified(request, etag):
        return Response(status_code=304, headers=headers)
    pull = read_loaded(loaded, wanted)
    curve = pull.curve
    if curve is None:
        raise Clash(pull.failure or "This pull has no curve.")
    arrays = ("engine_speed_rpm", "power_w", "observed_power_w", "torque_nm", "spread_w")
    content = {
        "pull_id": pull_id,
        **rounded({**{name: getattr(curve, name) for name in arrays}, **curve.channels}),
        **curve_summary(pull, curve),
        **budget_facts(curve),
        "calibration_in_force": in_force,
        "method_version": curve.method_version,
        "flags": flag_facts(pull.flags),
        "provenance": pull.provenance,
    }
    return Json(content, headers=headers)
