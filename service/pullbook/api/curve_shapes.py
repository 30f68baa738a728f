"""Curves and comparisons in words and numbers: the shapes of what is answered, and an example of each."""

from typing import Any, Literal

from pydantic import ConfigDict

from pullbook.api.shaping import Answer, Instant
from pullbook.api.verdict_shapes import DifferenceAnswer, Values, VerdictAnswer
from pullbook.measure import METHOD_VERSION


class FigureAnswer(Answer):
    """A headline figure; `expanded_uncertainty` is k = 2, in the figure's own unit."""

    value: float
    at_engine_speed_rpm: float
    expanded_uncertainty: float


class HeadlineAnswer(Answer):
    """The figures people quote; mean power and area are over `band_rpm`."""

    peak_power_w: FigureAnswer
    peak_torque_nm: FigureAnswer
    mean_power_w: FigureAnswer
    band_rpm: tuple[float, float]
    area_w_rpm: float


class CurveAir(Answer):
    """The air a curve was corrected from."""

    air_temperature_c: float
    station_pressure_kpa: float
    vapour_pressure_kpa: float
    dry_pressure_kpa: float
    density_kg_m3: float
    relative_humidity_pct: float


class FlagAnswer(Answer):
    """Something the reader should know: a code for programs, words for people."""

    code: str
    text: str


class LagAnswer(Answer):
    """How late measured λ was (gas on its way and the probe's time constant), s, and its standard uncertainty (k = 1).

    It is taken out: λ stands at the moment its gas was burnt. `lambda_lag_basis`: found in this pull; the usual figure,
    where it could not be; given by hand. All null where the pull has no measured λ.
    """

    lambda_lag_s: float | None
    lambda_lag_u_s: float | None
    lambda_lag_basis: Literal["found", "usual", "given"] | None


class CurveSummary(LagAnswer):
    """Everything about a curve but its arrays."""

    headline: HeadlineAnswer
    standard: str
    factor: float | None
    factor_valid: bool
    factor_note: str
    air: CurveAir | None
    window_s: float
    window_chosen: bool
    axis: Literal["engine_speed", "roller_speed"]
    engine_turns_per_roller_turn: float | None
    ratio_drift: float | None
    sweep_s: tuple[float, float]
    counts: dict[str, int]


class CurveAnswer(CurveSummary):
    """A pull's curve. Besides the arrays named here, every other mapped channel stands on the same grid under its own
    name (`lambda_measured`, `manifold_pressure_kpa`, …); null where it has no point."""

    model_config = ConfigDict(extra="allow")
    pull_id: str
    engine_speed_rpm: list[float]
    power_w: Values
    observed_power_w: Values
    torque_nm: Values
    spread_w: Values
    calibration_in_force: bool  # false: read under another calibration than the pull's own, as asked
    method_version: str
    flags: list[FlagAnswer]
    provenance: dict[str, Any]


class ComparedPull(Answer):
    """One pull of a comparison, on the common grid; `failure` says why where it has no curve."""

    pull_id: str
    taken_at: Instant
    file_name: str
    cell_name: str
    operator_name: str
    set_aside_reason: str | None
    counts_in_mean: bool
    failure: str | None
    power_w: Values | None
    observed_power_w: Values | None
    torque_nm: Values | None
    spread_w: Values | None
    channels: dict[str, Values]
    summary: CurveSummary | None
    flags: list[FlagAnswer]
    provenance: dict[str, Any]


class MeanAnswer(Answer):
    """The mean of a setup's counting pulls; `spread_w` is the standard deviation between them."""

    counted: int
    power_w: Values
    observed_power_w: Values
    torque_nm: Values
    spread_w: Values
    channels: dict[str, Values]


class ComparedSetup(Answer):
    """One setup of a comparison."""

    setup_id: str
    ticket_number: int
    name: str
    position: int
    changed: str
    gear: str
    tyre_pressure_kpa: float | None
    fuel: str
    mean: MeanAnswer | None
    pulls: list[ComparedPull]


class ConditionAnswer(Answer):
    """Something that was not the same throughout; values by setup id, in words."""

    code: str
    name: str
    values: dict[str, str]


class ComparedTicket(Answer):
    """A ticket that the compared pulls belong to."""

    id: str
    number: int
    vehicle_title: str


class ComparisonAnswer(Answer):
    """Several pulls on one grid of engine speed, by setup. What differed in the conditions stands first.

    `axis` says what `engine_speed_rpm` really holds: roller speed where no pull that counts knows its engine's. A pull
    that lies on the other axis has no arrays here; its own curve has them.
    """

    conditions: list[ConditionAnswer]
    conditions_alike: list[ConditionAnswer]
    flags: list[FlagAnswer]
    tickets: list[ComparedTicket]
    standard: str
    standard_title: str
    window_s: float | None
    step_rpm: float
    method_version: str
    axis: Literal["engine_speed", "roller_speed"]
    engine_speed_rpm: list[float]
    setups: list[ComparedSetup]
    differences: list[DifferenceAnswer]
    shared_rpm: tuple[float, float] | None
    verdicts: list[VerdictAnswer]


EXAMPLE = {
    "pull_id": "0kq3v8s2m4t6x",
    "engine_speed_rpm": [3000.0, 3050.0, 3100.0],
    "power_w": [61250.4, 62480.1, 63702.9],
    "observed_power_w": [60120.0, 61327.0, 62527.2],
    "torque_nm": [194.966, 195.612, 196.232],
    "spread_w": [118.2, 121.7, 117.5],
    "lambda_measured": [0.91, 0.9, 0.89],
    "headline": {
        "peak_power_w": {"value": 63702.9, "at_engine_speed_rpm": 3100.0, "expanded_uncertainty": 640.12},
        "peak_torque_nm": {"value": 196.232, "at_engine_speed_rpm": 3100.0, "expanded_uncertainty": 1.9705},
        "mean_power_w": {"value": 62477.8, "at_engine_speed_rpm": 3050.0, "expanded_uncertainty": 620.55},
        "band_rpm": [3000.0, 3100.0],
        "area_w_rpm": 6247840.0,
    },
    "standard": "iso_1585",
    "factor": 1.018804,
    "factor_valid": True,
    "factor_note": "Written for the crankshaft on an engine bench; used at the wheels by common practice.",
    "air": {
        "air_temperature_c": 24.0,
        "station_pressure_kpa": 98.9,
        "vapour_pressure_kpa": 1.493,
        "dry_pressure_kpa": 97.407,
        "density_kg_m3": 1.1535,
        "relative_humidity_pct": 50.0,
    },
    "window_s": 0.36,
    "window_chosen": True,
    "axis": "engine_speed",
    "engine_turns_per_roller_turn": 5.21,
    "ratio_drift": 0.002,
    "sweep_s": [2.1, 9.8],
    "counts": {},
    "lambda_lag_s": 0.447,
    "lambda_lag_u_s": 0.009,
    "lambda_lag_basis": "found",
    "calibration_in_force": True,
    "method_version": METHOD_VERSION,
    "flags": [{"code": "weather_stale", "text": "The nearest weather reading of Cell one is 95 min from this pull; …"}],
    "provenance": {"sha256": "9f2c…", "calibration": {"id": "0kq3v8s2m4t6y", "valid_from": "2026-01-05T07:00:00Z"}},
}
