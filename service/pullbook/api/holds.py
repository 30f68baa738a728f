"""One pull's holds: every plateau of it, read anew each time."""

from dataclasses import asdict
from typing import Annotated, Any

from fastapi import Path, Response
from pydantic import Field

from pullbook.api.curves import Standard, flag_facts
from pullbook.api.shaping import Answer
from pullbook.deps import ReadSession, SettingsDep, SignedIn
from pullbook.errors import Clash
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.measure.hold import SETTLED_WORDS, HeldAt, Mean
from pullbook.shop.holding import SOAK_CAUTION, BesideSweeps, PullHolds, read_pull_holds
from pullbook.shop.reading import ReadSettings

router = LateRouter(prefix="/api/v1/pulls", tags=["holds"])


class MeanAnswer(Answer):
    """A mean over the settled part, in the quantity's own unit. `u`: from scatter alone (k = 1), memory allowed for."""

    value: float
    u: float | None
    spread: float | None
    drift_per_s: float | None
    drift_u_per_s: float | None


class BesideAnswer(Answer):
    """The same setup's sweeps at this engine speed, and the hold's power less theirs."""

    sweeps: int
    power_w: float | None
    scatter_w: float | None
    difference_w: float | None
    difference_u_w: Annotated[float | None, Field(description="Expanded, k = 2; roller and brake share nothing.")]
    why_not: str | None


class HeldAnswer(Answer):
    """One plateau: times in s of the file, power in W, torque in N·m, `expanded_uncertainty_w` with k = 2."""

    start_s: float
    settled_s: float
    end_s: float
    is_settled: bool
    roller_speed_rad_s: MeanAnswer
    engine_speed_rpm: MeanAnswer | None
    power_w: float
    expanded_uncertainty_w: float
    uncertainty_pct: Annotated[dict[str, float], Field(description="Its parts, k = 1, in % of power.")]
    observed_power_w: MeanAnswer
    inertial_w: Annotated[float, Field(description="The share of J·α in the observed power.")]
    brake_w: float
    loss_w: float
    torque_nm: float | None
    throttle_pct: MeanAnswer | None
    lambda_measured: MeanAnswer | None
    lambda_commanded: float | None
    channels: dict[str, float]
    beside_sweeps: BesideAnswer


class HoldsAnswer(Answer):
    """Every plateau of a pull, under one standard."""

    pull_id: str
    plateaus: list[HeldAnswer]
    standard: str
    factor: float | None
    factor_valid: bool
    factor_note: str
    lag_s: float | None
    lag_by: str | None
    settled_by: str
    caution: str
    flags: list[dict[str, str]]
    counts: dict[str, int]
    method_version: str


def _mean(one: Mean | None, decimals: int) -> dict[str, float] | None:
    return None if one is None else {name: round(value, decimals) for name, value in asdict(one).items()}


def _beside(one: BesideSweeps) -> dict[str, Any]:
    return {name: round(value, 1) if isinstance(value, float) else value for name, value in asdict(one).items()}


def _held(one: HeldAt, beside: BesideSweeps) -> dict[str, Any]:
    return {
        **{name: round(getattr(one, name), 3) for name in ("start_s", "settled_s", "end_s")},
        "is_settled": one.is_settled,
        "roller_speed_rad_s": _mean(one.roller_speed_rad_s, 5),
        "engine_speed_rpm": _mean(one.engine_speed_rpm, 3),
        "power_w": round(one.power_w, 1),
        "expanded_uncertainty_w": round(one.expanded_uncertainty_w, 1),
        "uncertainty_pct": {name: round(share, 4) for name, share in one.parts_pct.items()},
        "observed_power_w": _mean(one.observed_power, 2),
        "inertial_w": round(one.inertial_w, 1),
        "brake_w": round(one.brake_w, 1),
        "loss_w": round(one.loss_w, 1),
        "torque_nm": None if one.torque_nm is None else round(one.torque_nm, 3),
        "throttle_pct": _mean(one.throttle, 3),
        "lambda_measured": _mean(one.lambda_measured, 5),
        "lambda_commanded": None if one.lambda_commanded is None else round(one.lambda_commanded, 4),
        "channels": {name: round(value, 4) for name, value in one.channels.items()},
        "beside_sweeps": _beside(beside),
    }


def holds_facts(found: PullHolds) -> dict[str, Any]:
    """A pull's holds as answered; Clash where it has none to read, with the reason."""
    holds = found.holds
    if holds is None:
        raise Clash(found.failure or "This pull cannot be read as holds.")
    return {
        "pull_id": found.facts.id,
        "plateaus": [_held(one, beside) for one, beside in zip(holds.plateaus, found.beside, strict=True)],
        "standard": holds.standard,
        "factor": None if holds.factor is None else round(holds.factor, 6),
        "factor_valid": holds.factor_valid,
        "factor_note": holds.factor_note,
        "lag_s": None if found.lag is None else round(found.lag.lag_s, 4),
        "lag_by": None if found.lag is None else found.lag.by,
        "settled_by": SETTLED_WORDS,
        "caution": SOAK_CAUTION,
        "flags": flag_facts(holds.flags),
        "counts": dict(holds.counts),
        "method_version": holds.method_version,
    }


@router.get(
    "/{pull_id}/holds",
    summary="A pull's holds",
    response_model=HoldsAnswer,
    responses={409: {"description": "The pull cannot be read; `detail` says why and what would help."}},
)
def get(
    pull_id: Annotated[str, Path(description="The pull's id.")],
    person: SignedIn,
    session: ReadSession,
    settings: SettingsDep,
    standard: Standard = "iso_1585",
) -> Response:
    """Each plateau's settled mean, spread, drift, power and mixture, beside the setup's sweeps at that speed."""
    wanted = ReadSettings(standard, weather_stale_minutes=settings.weather_stale_minutes)
    return Json(holds_facts(read_pull_holds(session, pull_id, wanted)))
