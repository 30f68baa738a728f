"""Fuel maps: a setup's mixture in cells of engine speed and load, worked out anew each time. Nothing is stored."""

from dataclasses import asdict
from typing import Annotated, Any, Literal

import numpy as np
from fastapi import Depends, Query, Response
from pydantic import Field

from pullbook.api.shaping import Answer
from pullbook.deps import ReadSession, SignedIn
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.measure import METHOD_VERSION
from pullbook.shop.fuel_mapping import ADVICE, LOAD_AXES, MapAsked, SetupMap, setup_map
from pullbook.shop.map_asking import asked_of
from pullbook.shop.map_writing import table_of_map
from pullbook.shop.taking_away import CSV_TYPE, csv_bytes

router = LateRouter(prefix="/api/v1", tags=["fuel-maps"])
Grid = list[list[float | None]]


class SourceAnswer(Answer):
    """One pull, and what it gave: `wanted_by` command, target or nothing; `lag_by` own, others, usual or given."""

    pull_id: str
    kind: str
    file_name: str
    lag_s: float | None
    lag_u_s: float | None
    lag_by: str | None
    wanted_by: str
    left_out: str | None


class FuelMapAnswer(Answer):
    """Arrays hold one list for each load cell, lowest first, with one value for each speed cell; null where too little
    time was spent. A cell holds low ≤ x < high, the last one its upper edge too."""

    setup_id: str | None
    load_axis: str
    load_unit: str
    speed_edges_rpm: list[float]
    load_edges: list[float]
    edges_by_itself: bool
    layout_id: str | None
    minimum_time_s: float
    time_s: Grid
    lambda_error: Grid
    multiplier: Grid
    multiplier_u: Annotated[Grid, Field(description="Standard error of the multiplier (k = 1), from whole seconds.")]
    lambda_measured: Grid
    lambda_wanted: Grid
    total_s: float
    left_out_s: Annotated[dict[str, float], Field(description="Time in no cell, by reason.")]
    sources: list[SourceAnswer]
    advice: str
    method_version: str


_EDGES = Query(max_length=1000, description="Rising figures with commas between; left out: chosen from the pulls.")
_WANTED = Query(
    max_length=1000, description="λ wanted where none was commanded: one figure, or one for each load cell."
)


def asked(
    setup_id: Annotated[str, Query(max_length=40, description="All its pulls that count.")] = "",
    pull_id: Annotated[list[str], Query(max_length=120)] = [],  # noqa: B006
    layout_id: Annotated[str, Query(max_length=40)] = "",
    speed_edges: Annotated[str, _EDGES] = "",
    load_edges: Annotated[str, _EDGES] = "",
    load_axis: Annotated[str, Query(max_length=40, description="manifold_pressure_kpa or throttle_pct.")] = "",
    minimum_time_s: Annotated[float | None, Query(ge=0.0, le=600.0)] = None,
    lag_s: Annotated[float | None, Query(ge=0.0, le=5.0, description="Left out: found in each pull.")] = None,
    wanted: Annotated[str, _WANTED] = "",
) -> MapAsked:
    """What the address asks for. Invalid, by field, for figures that are none."""
    return asked_of(
        setup_id=setup_id,
        pull_ids=pull_id,
        layout_id=layout_id,
        speed_edges=speed_edges,
        load_edges=load_edges,
        load_axis=load_axis,
        minimum_time_s=minimum_time_s,
        lag_s=lag_s,
        wanted=wanted,
    )


def map_facts(found: SetupMap) -> dict[str, Any]:
    """A map as answered."""
    made, cells = found.made, found.cells
    names = ("time_s", "lambda_error", "multiplier", "multiplier_u", "lambda_measured", "lambda_wanted")
    return {
        "setup_id": found.setup.id if found.setup else None,
        "load_axis": found.load_axis,
        "load_unit": LOAD_AXES[found.load_axis][1],
        "speed_edges_rpm": list(cells.speed_edges_rpm) if cells else [],
        "load_edges": list(cells.load_edges) if cells else [],
        "edges_by_itself": found.by_itself,
        "layout_id": found.layout_id or None,
        "minimum_time_s": found.minimum_time_s,
        **{name: np.round(getattr(made, name), 5) if made is not None else [] for name in names},
        "total_s": round(made.total_s, 4) if made is not None else 0.0,
        "left_out_s": {}
        if made is None
        else {name.removesuffix("_s"): round(value, 4) for name, value in asdict(made.left_out).items()},
        "sources": [
            {
                "pull_id": one.facts.id,
                "kind": one.facts.kind,
                "file_name": one.facts.file_name,
                "lag_s": None if one.lag is None else round(one.lag.lag_s, 4),
                "lag_u_s": None if one.lag is None else round(one.lag.u_s, 4),
                "lag_by": None if one.lag is None else one.lag.by,
                "wanted_by": one.wanted_by,
                "left_out": one.left_out,
            }
            for one in found.sources
        ],
        "advice": ADVICE,
        "method_version": METHOD_VERSION,
    }


@router.get(
    "/fuel-maps",
    summary="A setup's fuel map",
    response_model=FuelMapAnswer,
    responses={200: {"content": {"text/csv": {}}, "description": "The map; as CSV with `format=csv`."}},
)
def get(
    wanted: Annotated[MapAsked, Depends(asked)],
    person: SignedIn,
    session: ReadSession,
    format: Annotated[Literal["json", "csv"], Query(description="json, or csv for a spreadsheet.")] = "json",
) -> Response:
    """Time, mean λ error and the multiplier that would close it, cell by cell, from the pulls of one setup."""
    found = setup_map(session, wanted)
    if format == "csv":
        name = f'attachment; filename="fuel-map-{found.ticket.number if found.ticket else "empty"}.csv"'
        return Response(csv_bytes(table_of_map(found)), media_type=CSV_TYPE, headers={"Content-Disposition": name})
    return Json(map_facts(found))
