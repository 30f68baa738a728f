"""One pull's mixture: λ measured and commanded where the gas was burnt, how late the probe was, and what that says."""

from typing import Annotated, Any, Literal

import numpy as np
from fastapi import Path, Query, Request, Response

from pullbook.api.curve_shapes import FlagAnswer
from pullbook.api.curves import Standard, Step, Window, flag_facts, not_modified, rounded
from pullbook.api.shaping import Answer
from pullbook.api.verdict_shapes import Values
from pullbook.deps import ReadSession, SettingsDep, SignedIn
from pullbook.errors import Clash
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.measure.curve import Curve
from pullbook.measure.curveparts import ProbeLag
from pullbook.measure.fuelling import MixtureStretch
from pullbook.measure.mixture import Mixture
from pullbook.shop.loading import load_pulls
from pullbook.shop.mixing import LONGEST_LAG_S, SHORTEST_LAG_S, mixture_of
from pullbook.shop.reading import ReadSettings, etag_of, read_loaded, refuse_unknown_standard

router = LateRouter(prefix="/api/v1/pulls", tags=["mixture"])


class ProbeLagAnswer(Answer):
    """How late measured λ was. `lag_s` is delay and time constant together, `u_s` its standard uncertainty (k = 1).

    `quality`: good up to 20 ms, fair up to 50 ms, else weak; usual or given where it was not found in the pull, and
    `reason` then says why and what would do.
    """

    lag_s: float
    u_s: float
    found: bool
    quality: Literal["good", "fair", "weak", "usual", "given"]
    reason: str | None
    delay_s: float | None
    time_constant_s: float | None
    residual_lambda: float | None


class StretchAnswer(Answer):
    """A part of the sweep. Errors are measured less commanded λ (less 1.00 without a command): positive is lean."""

    state: Literal["follows", "richer", "leaner"]
    from_rpm: float
    to_rpm: float
    from_s: float
    to_s: float
    mean_measured: float
    mean_commanded: float | None
    mean_error: float
    worst_error: float
    worst_at_rpm: float
    text: str


class MixtureAnswer(Answer):
    """A pull's mixture over engine speed. `notes` are common practice, not measured; `missing` says what would help."""

    pull_id: str
    engine_speed_rpm: list[float]
    power_w: Values
    torque_nm: Values
    lambda_measured: Values | None
    lambda_commanded: Values | None
    lag: ProbeLagAnswer | None
    tolerance_lambda: float
    stretches: list[StretchAnswer]
    flags: list[FlagAnswer]
    notes: list[str]
    missing: str | None
    standard: str
    method_version: str


def lag_answer(lag: ProbeLag | None) -> dict[str, Any] | None:
    """The lag as answered."""
    if lag is None:
        return None
    parts = ("delay_s", "time_constant_s", "residual_lambda")
    return {
        "lag_s": round(lag.lag_s, 4),
        "u_s": round(lag.u_s, 4),
        "found": lag.found,
        "quality": lag.quality,
        "reason": lag.reason,
        **{name: None if getattr(lag, name) is None else round(getattr(lag, name), 4) for name in parts},
    }


def stretch_answer(stretch: MixtureStretch) -> dict[str, Any]:
    """A stretch as answered."""
    told = {name: getattr(stretch, name) for name in StretchAnswer.model_fields}
    return {name: round(value, 4) if isinstance(value, float) else value for name, value in told.items()}


def mixture_facts(pull_id: str, curve: Curve, mixture: Mixture) -> dict[str, Any]:
    """A mixture as answered."""
    grid = curve.engine_speed_rpm
    missing = np.full(len(grid), np.nan)
    names = ("lambda_measured", "lambda_commanded")
    lambdas = {name: curve.channels.get(name, missing) for name in names}
    arrays = {"engine_speed_rpm": grid, "power_w": curve.power_w, "torque_nm": curve.torque_nm, **lambdas}
    return {
        "pull_id": pull_id,
        **rounded(arrays),
        **{name: None for name in names if name not in curve.channels},
        "lag": lag_answer(mixture.lag),
        "tolerance_lambda": round(mixture.tolerance_lambda, 4),
        "stretches": [stretch_answer(stretch) for stretch in mixture.stretches],
        "flags": flag_facts(mixture.flags),
        "notes": list(mixture.notes),
        "missing": mixture.missing,
        "standard": curve.standard,
        "method_version": curve.method_version,
    }


@router.get(
    "/{pull_id}/mixture",
    summary="A pull's mixture",
    response_model=MixtureAnswer,
    responses={
        304: {"description": "What the client holds (If-None-Match) is still what would be answered."},
        409: {"description": "The pull has no curve over engine speed; `detail` says why and what would help."},
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
    lag_s: Annotated[
        float | None,
        Query(
            ge=SHORTEST_LAG_S,
            le=LONGEST_LAG_S,
            description="How late measured λ is, in s; found from the pull when left out.",
        ),
    ] = None,
) -> Response:
    """The probe's lag is taken out first; what the mixture did then stands beside what was asked of it"""
    wanted = ReadSettings(standard, window_s, step_rpm, settings.weather_stale_minutes, lambda_lag_s=lag_s)
    refuse_unknown_standard(standard)
    loaded = load_pulls(session, [pull_id])[0]
    etag = f'"{etag_of(loaded, wanted)}"'
    headers = {"ETag": etag, "Cache-Control": "private, no-cache"}
    if not_modified(request, etag):
        return Response(status_code=304, headers=headers)
    pull = read_loaded(loaded, wanted)
    mixture = mixture_of(pull)
    if pull.curve is None or mixture is None:
        without = "This pull has no engine speed. State the engine turns per roller turn in its setup."
        raise Clash(pull.failure or without)
    return Json(mixture_facts(pull_id, pull.curve, mixture), headers=headers)
