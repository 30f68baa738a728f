"""A car's coast-down on the rollers: its drag, and an estimate of power at the engine."""

from typing import Annotated, Literal

import numpy as np
from fastapi import Path, Query, Response

from pullbook.api.curves import Standard
from pullbook.api.shaping import Answer
from pullbook.deps import ReadSession, SettingsDep, SignedIn
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.shop.freewheeling import Freewheel, read_freewheel
from pullbook.shop.reading import ReadSettings, refuse_unknown_standard

router = LateRouter(prefix="/api/v1/pulls", tags=["coast-downs"])
Extra = Annotated[
    float | None,
    Query(ge=0, le=1e4, description="Inertia of what turns in the car, seen from the roller, kg·m²; else a guess."),
]
ExtraU = Annotated[
    float | None, Query(ge=0, le=1e4, description="Its standard uncertainty; a tenth of it, if left out.")
]


class DragAnswer(Answer):
    """The car's drag as torque at the roller over roller speed; `drag_u_nm` is k = 1. `power_w` is at the roller."""

    roller_speed_rad_s: list[float]
    drag_nm: list[float]
    drag_u_nm: list[float]
    roller_loss_nm: list[float]
    power_w: list[float]
    extra_inertia_kg_m2: float
    extra_inertia_u_kg_m2: float
    extra_inertia_stated: bool


class EstimateAnswer(Answer):
    """Observed wheel power of a sweep and, over it, the estimate at the engine; `expanded_w` is k = 2.

    `corrected`: never: what a standard does to a curve says nothing of drag.
    """

    sweep_id: str
    is_estimate: Literal[True]
    corrected: Literal[False]
    engine_speed_rpm: list[float]
    wheel_power_w: list[float]
    engine_power_w: list[float]
    expanded_w: list[float]
    peak_at_rpm: float
    peak_wheel_power_w: float
    peak_engine_power_w: float
    peak_expanded_w: float


class CoastDownAnswer(Answer):
    """A car's coast-down as read; `estimate` is null where its setup has no sweep."""

    pull_id: str
    from_rad_s: float
    to_rad_s: float
    drag: DragAnswer
    estimate: EstimateAnswer | None
    words: list[str]


@router.get(
    "/{pull_id}/coast-down",
    summary="A car's coast-down",
    response_model=CoastDownAnswer,
    responses={409: {"description": "The pull is no coast-down that can be read; `detail` says why."}},
)
def get(
    pull_id: Annotated[str, Path(description="The pull's id.")],
    person: SignedIn,
    session: ReadSession,
    settings: SettingsDep,
    extra_inertia_kg_m2: Extra = None,
    extra_inertia_u_kg_m2: ExtraU = None,
    standard: Standard = "observed",
) -> Response:
    """Drag of the declutched car, and beside the nearest sweep of its setup an estimate of power at the engine."""
    refuse_unknown_standard(standard)
    wanted = ReadSettings(standard, weather_stale_minutes=settings.weather_stale_minutes)
    return Json(_facts(read_freewheel(session, pull_id, wanted, extra_inertia_kg_m2, extra_inertia_u_kg_m2)))


def _facts(read: Freewheel) -> dict[str, object]:
    drag = read.drag
    return {
        "pull_id": read.facts.id,
        "from_rad_s": read.run.high_rad_s,
        "to_rad_s": read.run.low_rad_s,
        "drag": {
            "roller_speed_rad_s": np.round(drag.at_rad_s, 4).tolist(),
            "drag_nm": np.round(drag.drag_nm, 4).tolist(),
            "drag_u_nm": np.round(drag.drag_u_nm, 4).tolist(),
            "roller_loss_nm": np.round(drag.roller_nm, 4).tolist(),
            "power_w": np.round(drag.power_w, 1).tolist(),
            "extra_inertia_kg_m2": drag.extra_kg_m2,
            "extra_inertia_u_kg_m2": drag.extra_u_kg_m2,
            "extra_inertia_stated": drag.extra_stated,
        },
        "estimate": _estimate(read),
        "words": list(read.words),
    }


def _estimate(read: Freewheel) -> dict[str, object] | None:
    if read.peak is None or read.sweep is None or read.estimate is None or read.engine_speed_rpm is None:
        return None
    rpm, wheel, engine, expanded = read.peak
    return {
        "sweep_id": read.sweep.facts.id,
        "is_estimate": True,
        "corrected": False,
        "engine_speed_rpm": np.round(read.engine_speed_rpm, 2).tolist(),
        "wheel_power_w": np.round(read.estimate.wheel_w, 1).tolist(),
        "engine_power_w": np.round(read.estimate.estimate_w, 1).tolist(),
        "expanded_w": np.round(read.estimate.expanded_w, 1).tolist(),
        "peak_at_rpm": rpm,
        "peak_wheel_power_w": wheel,
        "peak_engine_power_w": engine,
        "peak_expanded_w": expanded,
    }
